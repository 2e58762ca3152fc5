/* The walk: due work by station, with what must be known before hands go in. */

const SIDE_WORDS = {
  driver: "Driver side",
  passenger: "Passenger side",
  both: "Both sides",
  over: "Over the vehicle",
  under: "Under the vehicle",
};
const REASONS = [
  "Line could not be stopped",
  "No part at hand",
  "Not qualified for it",
  "Machine out of use",
];

function walkView(page) {
  const { round, store } = page;
  const people = [["", "Choose"], ...round.people.map((person) => [person.ident, person.name])];
  const passes = Object.keys(PASSES)
    .map((when) => [when, round.due.filter((item) => item.when === when)])
    .filter(([, items]) => items.length > 0);
  const stations = [];
  const parts = [];
  const sections = passes.map(([when, items], index) => {
    const alone = items.filter((item) => !item.in_round);
    const walked = round.machines
      .map((machine) => [machine, alone.filter((item) => item.machine === machine.ident)])
      .filter(([, found]) => found.length > 0);
    const own = walked.map(([machine, found]) => stationPart(page, machine, found));
    stations.push(...walked);
    parts.push(...own);
    return passPart(page, when, items, own, index === 0);
  });
  parts.forEach((part, index) => part.append(onwardButton(part, parts[index + 1])));
  if (parts.length > 0) parts[0].open = true;
  return [
    pickField("Who are you?", people, store.person, (ident) => store.choosePerson(ident), {
      key: "person",
    }),
    cautionBox("Before all work", round.safety),
    passes.length > 0
      ? walkBar(page, stations, parts)
      : make("p", {}, "Nothing is due on this day."),
    ...tiedBackPart(page),
    ...sections,
    ...earlierPart(page),
    make("datalist", { id: "reasons" }, ...REASONS.map((value) => make("option", { value }))),
  ];
}

/* A pass of the walk: its cautions once, its round, then its stations. */
function passPart(page, when, items, stations, isFirst) {
  let opened = isFirst ? Date.now() : 0;
  const state = make("p", { class: "state" });
  const update = () =>
    setText(state, stationState(progressOf(items, page.store.unsent, page.round, page.fields, page.store.person)));
  page.store.listenAsPart(update);
  update();
  const cautions = byDanger(new Set(items.flatMap((item) => item.cautions)));
  const part = make(
    "details",
    { class: "pass", open: isFirst, "data-key": `pass ${when}` },
    make("summary", {}, make("h3", {}, PASSES[when]), state),
    cautions.length > 0 ? cautionBox("Before this pass", cautions) : "",
    ...countsPart(page, items),
    items.some((item) => item.in_round) ? roundCard(page, when, () => opened) : "",
    ...stations,
  );
  part.addEventListener("toggle", () => {
    if (part.open) opened ||= Date.now();
  });
  return part;
}

/* What is counted in a pass, each with its tachometer one tap away. */
function countsPart(page, items) {
  const { round, store, fields } = page;
  const counted = items.filter((item) => item.reads.includes("speed") && !item.lockout);
  if (counted.length === 0) return [];
  const rows = counted.flatMap((item) => {
    const machine = round.machines.find((one) => one.ident === item.machine);
    return item.places.map((place) => {
      const key = workKey(item.task, place);
      const state = make("span", { class: "state" });
      const draft = () => store.unsent.work[key]?.draft ?? emptyDraft();
      const counted = () => {
        const { speed } = draftSpeed(draft(), fields, round.timing_u_s);
        const band = bandAt(machine.bands, draft().lineRate ?? round.line_rate_per_h);
        return { speed, verdict: speed && band ? verdictOf(speed, band) : "" };
      };
      const update = () => {
        const { speed, verdict } = counted();
        const waiting = stepsOf(draft()).length > 0 ? "to count again" : "to count";
        setText(state, speed ? `${shownSpeed(speed)} r/min ${verdict}`.trim() : waiting);
      };
      store.listenAsPart(update);
      update();
      // Its form says what to set next.
      const lead = () => {
        if (counted().verdict === "out of band") page.goTo({ view: "walk", key, field: "tuning" });
      };
      const row = button(`${machine.station} · ${placeName(round, place)} `, () => page.taps.get(key)(lead));
      row.append(state);
      return row;
    });
  });
  return [
    make("section", { class: "card counts" }, make("h4", {}, "Counts"), make("div", { class: "buttons" }, ...rows)),
  ];
}

function cautionBox(label, lines, ...before) {
  const list = lines.length ? make("ul", {}, ...lines.map(cautionLine)) : "";
  return make("div", { class: "caution", role: "note", "aria-label": label }, ...before, list);
}

/* Each danger once, with all that is said of it. */
function byDanger(lines) {
  const dangers = new Map();
  for (const line of lines) {
    const danger = line.slice(0, dangerEnd(line));
    dangers.set(danger, `${dangers.get(danger) ?? danger}${line.slice(danger.length)}`);
  }
  return [...dangers.values()];
}

/* The danger is named by the first sentence. */
function dangerEnd(line) {
  return line.indexOf(". ") + 1;
}

function cautionLine(line) {
  const end = dangerEnd(line);
  return make("li", {}, make("strong", {}, line.slice(0, end)), `${line.slice(end)} `);
}

/* How much of the walk is answered, and a way to any station, always in sight. */
function walkBar(page, stations, parts) {
  const state = make("p", { class: "progress", role: "status" });
  const update = () => {
    const { places, open } = progressOf(
      page.round.due,
      page.store.unsent,
      page.round,
      page.fields,
      page.store.person,
    );
    setText(state, `${places - open.length} of ${places}`);
  };
  page.store.listenAsPart(update);
  update();
  const names = stations.map(([machine], index) => [String(index), stationName(machine)]);
  const jump = listToPick([["", "Go to station"], ...names], "", (index) => {
    if (index === "") return;
    jump.value = "";
    openStation(parts[Number(index)]);
  });
  jump.setAttribute("aria-label", "Go to station");
  // Arrow keys would pick at once, and leave for the first station passed over.
  jump.addEventListener("keydown", (event) => {
    if (event.key !== "ArrowDown" && event.key !== "ArrowUp") return;
    event.preventDefault();
    jump.showPicker?.();
  });
  return make("div", { class: "bar" }, jump, state);
}

function stationName(machine) {
  return `${machine.station} · ${machine.name}`;
}

function openStation(part) {
  part.closest(".pass").open = true;
  part.open = true;
  part.scrollIntoView({ block: "start" });
  part.querySelector("summary").focus({ preventScroll: true });
}

function onwardButton(part, next) {
  const onward = () => {
    part.open = false;
    openStation(next ?? part);
  };
  return button(next ? "Next station" : "Close: last station", onward, { class: "onward" });
}

function stationPart(page, machine, items) {
  const state = make("p", { class: "state" });
  const update = () =>
    setText(state, stationState(progressOf(items, page.store.unsent, page.round, page.fields, "")));
  page.store.listenAsPart(update);
  update();
  const facts = [
    SIDE_WORDS[machine.side] ?? machine.side,
    machine.turns && `turns ${machine.turns} the vehicle's travel`,
  ];
  return make(
    "details",
    { class: "station", "data-key": `station ${items[0].when} ${machine.ident}` },
    make("summary", {}, make("h3", {}, stationName(machine)), state),
    make(
      "div",
      { class: "about" },
      make("p", { class: "hint" }, facts.filter(Boolean).join("; ")),
      button("Finding", () => page.addFinding(machine.ident), {
        "aria-label": `Finding at ${machine.name}`,
      }),
    ),
    ...beforeWork(items),
    ...items.map((item) => itemPart(page, machine, item)),
  );
}

function stationState({ places, open, unread, overdue }) {
  const words = [`${places - open.length} of ${places}`];
  if (unread > 0) words.push(`${unread} unread`);
  if (overdue > 0) words.push(`${overdue} overdue`);
  return words.join(", ");
}

/* What is locked out, once for the machine and before any of its work. */
function beforeWork(items) {
  const locked = items.filter((item) => item.lockout).map((item) => item.title);
  if (locked.length === 0) return [];
  const lockout = make(
    "p",
    {},
    make("strong", {}, "Lock out, tag out and verify before: "),
    `${locked.join("; ")}.`,
  );
  return [cautionBox("Before this work", [], lockout)];
}

function itemPart(page, machine, item) {
  const needs = make("p", { class: "needs", role: "status" });
  const checkNeeds = () => setText(needs, qualificationWords(page, item));
  page.store.listenAsPart(checkNeeds);
  checkNeeds();
  const rows = item.places.map((place) => placeRow(page, machine, item, place));
  const markAll = () => rows.forEach((row) => row.markDone());
  // What is read is read place by place.
  const all = rows.length > 1 && item.reads.length === 0;
  return make(
    "section",
    { class: "item" },
    make("h4", {}, item.title),
    factsPart(item),
    needs,
    all ? button(`All ${rows.length} done`, markAll) : "",
    ...rows.map((row) => row.element),
  );
}

/* What is known of the work, with its steps folded behind it. */
function factsPart(item) {
  const properties = { class: item.overdue_days > 0 ? "facts overdue" : "facts" };
  if (!item.steps) return make("p", properties, factWords(item));
  const words = `${factWords(item)} · steps`;
  return fold(words, properties, make("p", { class: "steps" }, item.steps));
}

function factWords(item) {
  const facts = [item.state[0].toUpperCase() + item.state.slice(1)];
  if (item.minutes) facts.push(`about ${Math.max(1, Math.round(item.minutes))} min`);
  if (item.lockout) facts.push("locked out");
  if (item.reads.length > 0) facts.push(`closes with ${kindWords(item.reads)}`);
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

/* Work noted on an earlier day's page and no longer due: still in the visit, and still to mend. */
function earlierPart(page) {
  const { round, store } = page;
  const due = new Set(
    round.due.flatMap((item) => item.places.map((place) => workKey(item.task, place))),
  );
  const earlier = Object.keys(store.unsent.work).filter(
    (key) => !due.has(key) && store.unsent.work[key].outcome,
  );
  if (earlier.length === 0) return [];
  return [
    make(
      "section",
      { class: "card" },
      make("h3", {}, "Noted earlier, not on this walk"),
      make("p", {}, "Still part of the unsent visit:"),
      ...earlier.map((key) => earlierRow(page, key)),
    ),
  ];
}

function earlierRow(page, key) {
  const [task, place] = key.split(" ");
  const ident = place.split("/")[0];
  const machine = page.round.machines.find((one) => one.ident === ident) ?? {
    ident,
    name: ident,
    points: [],
    bands: [],
  };
  const item = { task, title: task, uses: [], reads: kindsIn(page.store.unsent.work[key].draft) };
  return make(
    "section",
    { class: "item" },
    make("h4", {}, `${task}, ${placeName(page.round, place)}`),
    placeRow(page, machine, item, place).element,
  );
}

function kindsIn(draft) {
  const typed = Object.keys(draft.typed).map((name) => name.split(".")[0]);
  const isSpeed = draft.taps.length > 0 || (draft.steps ?? []).length > 0;
  return [...new Set([...(isSpeed ? ["speed"] : []), ...typed])];
}
