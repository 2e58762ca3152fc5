/* The walk: due work by station, with what must be known before hands go in. */

function walkView(page) {
  const { round, store } = page;
  const people = [["", "Choose"], ...round.people.map((person) => [person.ident, person.name])];
  const stations = round.machines
    .map((machine) => [machine, round.due.filter((item) => item.machine === machine.ident)])
    .filter(([, items]) => items.length > 0);
  return [
    pickField("Who are you?", people, store.person, (ident) => store.choosePerson(ident), {
      key: "person",
    }),
    make(
      "div",
      { class: "caution", role: "note", "aria-label": "Before all work" },
      make("ul", {}, ...round.safety.map((line) => make("li", {}, line))),
    ),
    stations.length === 0 ? make("p", {}, "Nothing is due on this day.") : "",
    ...stations.map(([machine, items], index) => stationPart(page, machine, items, index === 0)),
    ...earlierPart(page),
    make(
      "datalist",
      { id: "reasons" },
      ...[
        "Line could not be stopped",
        "No part at hand",
        "Not qualified for it",
        "Machine out of use",
      ].map((reason) => make("option", { value: reason })),
    ),
  ];
}

const SIDE_WORDS = {
  driver: "Driver side",
  passenger: "Passenger side",
  over: "Over the vehicle",
  under: "Under the vehicle",
};

function stationPart(page, machine, items, open) {
  const state = make("p", { class: "state" });
  const keysOf = (item) => item.places.map((place) => workKey(item.task, place));
  const update = () => {
    const isOpen = (key) => !page.store.unsent.work[key]?.outcome;
    const keys = items.flatMap(keysOf);
    const answered = keys.length - keys.filter(isOpen).length;
    const overdue = items.filter(
      (item) => item.overdue_days > 0 && keysOf(item).some(isOpen),
    ).length;
    setText(state, `${answered} of ${keys.length}${overdue ? `, ${overdue} overdue` : ""}`);
  };
  page.store.listenAsPart(update);
  update();
  const side = [
    SIDE_WORDS[machine.side] ?? machine.side,
    machine.turns && `turns ${machine.turns} the vehicle's travel`,
  ];
  return make(
    "details",
    { class: "station", open },
    make(
      "summary",
      {},
      make("div", {}, make("h3", {}, `${machine.station} · ${machine.name}`), state),
    ),
    make("p", { class: "hint" }, side.filter(Boolean).join("; ")),
    ...beforeWork(items),
    ...items.map((item) => itemPart(page, machine, item)),
  );
}

/* Lock-out and cautions, once for the machine and before any of its work. */
function beforeWork(items) {
  const locked = items.filter((item) => item.lockout).map((item) => item.title);
  const cautions = [...new Set(items.flatMap((item) => item.cautions))];
  if (locked.length === 0 && cautions.length === 0) return [];
  const lockout = make(
    "p",
    {},
    make("strong", {}, "Lock out, tag out and verify before: "),
    `${locked.join("; ")}.`,
  );
  return [
    make(
      "div",
      { class: "caution", role: "note", "aria-label": "Before this work" },
      locked.length ? lockout : "",
      cautions.length ? make("ul", {}, ...cautions.map((line) => make("li", {}, line))) : "",
    ),
  ];
}

function itemPart(page, machine, item) {
  const needs = make("p", { class: "needs", role: "status" });
  const checkNeeds = () => setText(needs, qualificationWords(page, item));
  page.store.listenAsPart(checkNeeds);
  checkNeeds();
  const rows = item.places.map((place) => placeRow(page, machine, item, place));
  return make(
    "section",
    { class: "item" },
    make("h4", {}, item.title),
    make("p", { class: item.overdue_days > 0 ? "facts overdue" : "facts" }, factWords(item)),
    needs,
    item.steps ? fold("Steps", {}, make("p", { class: "steps" }, item.steps)) : "",
    rows.length > 1
      ? button(`All ${rows.length} done`, () => rows.forEach((row) => row.markDone()))
      : "",
    ...rows.map((row) => row.element),
  );
}

function factWords(item) {
  const facts = [item.state[0].toUpperCase() + item.state.slice(1)];
  if (item.minutes) facts.push(`about ${Math.round(item.minutes)} min`);
  if (item.lockout) facts.push("locked out");
  facts.push(...item.uses.map((use) => `${use.quantity} ${use.unit} of ${use.name} each`));
  return facts.join(" · ");
}

function qualificationWords(page, item) {
  const { round, store } = page;
  if (item.needs.length === 0) return "";
  if (!store.person) return `Needs: ${item.needs.join(", ")}.`;
  const lacking = lackingNeeds(item, store.person, round);
  if (lacking.length === 0) return "";
  const { name } = round.people.find((one) => one.ident === store.person);
  return `Not yours to do: it needs ${lacking.join(", ")}, which ${name} is not qualified for.`;
}

/* One place of a task: done, not done with its reason, and what was read there. */
function placeRow(page, machine, item, place) {
  const key = workKey(item.task, place);
  const line = () => page.store.unsent.work[key] ?? emptyLine();
  const alter = (change) =>
    page.change((unsent) => {
      unsent.work[key] ??= emptyLine();
      change(unsent.work[key]);
    });
  const point = place.split("/")[1];
  const name = point ? (machine.points.find((one) => one.ident === point)?.name ?? point) : "Done";
  const done = make("input", {
    type: "checkbox",
    onchange: () => setOutcome(done.checked ? "done" : ""),
  });
  const notDone = button(
    "Not done",
    () => setOutcome(line().outcome === "not-done" ? "" : "not-done"),
    {
      class: "not-done",
      "aria-label": `Not done: ${item.title}${point ? `, ${name}` : ""}`,
    },
  );
  const reason = make("div", {});
  const strokes = item.uses.some((use) => /^strokes?$/i.test(use.unit));

  function setOutcome(outcome) {
    alter((one) => {
      one.outcome = outcome;
    });
    update();
    if (outcome === "not-done") reason.querySelector("input").focus();
  }

  function update() {
    const { outcome } = line();
    done.checked = outcome === "done";
    notDone.setAttribute("aria-pressed", String(outcome === "not-done"));
    if (outcome !== "not-done") reason.replaceChildren();
    else if (!reason.hasChildNodes()) reason.append(reasonField());
    readings.hidden = outcome === "not-done" && !hasReading(line().draft);
  }

  function reasonField() {
    return textField(
      "Why not?",
      line().reason,
      (text) =>
        alter((one) => {
          one.reason = text;
        }),
      {
        list: "reasons",
      },
    );
  }

  const more = fold(
    strokes ? "Strokes, note" : "Note",
    {},
    strokes
      ? textField(
          "Strokes given",
          line().strokes,
          (text) =>
            alter((one) => {
              one.strokes = text;
            }),
          { numeric: true },
        )
      : "",
    textField(
      "Note",
      line().note,
      (text) =>
        alter((one) => {
          one.note = text;
        }),
      { long: true },
    ),
  );
  const readings = item.reads.length
    ? draftForm(page, {
        key,
        title: point ? `${machine.name}, ${name}` : machine.name,
        machine,
        kinds: item.reads,
        draft: () => line().draft,
        change(change) {
          alter((one) => {
            change(one.draft);
            // Whoever reads has done the task, unless it was said otherwise.
            if (!one.outcome && hasReading(one.draft)) one.outcome = "done";
          });
          update();
        },
      })
    : make("div");
  update();
  return {
    element: make(
      "div",
      { class: "place", "data-key": key },
      make(
        "div",
        { class: "answer" },
        make("label", { class: "tick" }, done, make("span", {}, name)),
        notDone,
      ),
      reason,
      readings,
      more,
    ),
    markDone: () => setOutcome("done"),
  };
}

function hasReading(draft) {
  return draft.taps.length > 0 || Object.keys(draft.typed).length > 0;
}

/* Work noted on an earlier day's page and no longer due: still in the visit, and said so. */
function earlierPart(page) {
  const due = new Set(
    page.round.due.flatMap((item) => item.places.map((place) => workKey(item.task, place))),
  );
  const earlier = Object.keys(page.store.unsent.work).filter(
    (key) => !due.has(key) && page.store.unsent.work[key].outcome,
  );
  if (earlier.length === 0) return [];
  return [
    make(
      "section",
      { class: "card" },
      make("h3", {}, "Noted earlier, not on this walk"),
      make("p", {}, "Still part of the unsent visit:"),
      make(
        "ul",
        {},
        ...earlier.map((key) => make("li", { "data-key": key }, key.replace(" ", ", "))),
      ),
    ),
  ];
}
