/* One place of a task: done, not done with its reason, and what was read there. */

function placeRow(page, machine, item, place) {
  const key = workKey(item.task, place);
  const point = place.split("/")[1];
  const name = point ? (machine.points.find((one) => one.ident === point)?.name ?? point) : "";
  const row = {
    page,
    machine,
    item,
    place,
    key,
    name,
    line: () => page.store.unsent.work[key] ?? emptyLine(),
    alter(change) {
      page.change((unsent) => {
        unsent.work[key] ??= emptyLine();
        change(unsent.work[key]);
      });
    },
  };
  const done = make("input", {
    type: "checkbox",
    onchange: () => setOutcome(done.checked ? "done" : ""),
  });
  const toggle = () => setOutcome(row.line().outcome === "not-done" ? "" : "not-done");
  const notDone = button("Not done", toggle, {
    class: "not-done",
    "aria-label": `Not done: ${item.title}${name ? `, ${name}` : ""}`,
  });
  const lacks = make("p", { class: "lacks", role: "status" });
  const more = make("div", {});
  const readings = readingsPart(row, update);

  function setOutcome(outcome) {
    row.alter((line) => {
      line.outcome = outcome;
    });
    update();
    if (outcome === "not-done") more.querySelector("input").focus();
  }

  function update() {
    const { outcome, draft } = row.line();
    const missing =
      outcome === "done" ? missingReadings(item, place, draft, page.round, page.fields) : [];
    done.checked = outcome === "done";
    notDone.setAttribute("aria-pressed", String(outcome === "not-done"));
    setText(lacks, missing.length > 0 ? `Ticked, but ${staysDueWords(missing)} Read it here:` : "");
    if (missing.length > 0) readings.open = true;
    readings.hidden = item.reads.length === 0 || (outcome === "not-done" && !hasReading(draft));
    if (more.dataset.outcome !== outcome) {
      more.dataset.outcome = outcome;
      more.replaceChildren(...answerFields(row, outcome));
    }
  }

  update();
  return {
    element: make(
      "div",
      { class: "place", "data-key": key },
      make(
        "div",
        { class: "answer" },
        make("label", { class: "tick" }, done, make("span", {}, name || "Done")),
        notDone,
      ),
      lacks,
      readings,
      more,
    ),
    markDone: () => setOutcome("done"),
  };
}

/* What is asked once the place is answered. */
function answerFields(row, outcome) {
  if (outcome === "") return [];
  const field = (words, name, options) =>
    textField(
      words,
      row.line()[name],
      (text) =>
        row.alter((line) => {
          line[name] = text;
        }),
      { ...options, key: `${row.key} ${name}` },
    );
  const countsStrokes = row.item.uses.some((use) => /^strokes?$/i.test(use.unit));
  const strokes =
    outcome === "done" && countsStrokes ? field("Strokes given", "strokes", { numeric: true }) : "";
  return [
    outcome === "not-done" ? field("Why not?", "reason", { list: "reasons" }) : "",
    fold(strokes ? "Strokes, note" : "Note", {}, strokes, field("Note", "note", { long: true })),
  ];
}

/* The form of what the task reads; folded where it takes more than a line. */
function readingsPart(row, update) {
  const { page, machine, item, key, name } = row;
  if (item.reads.length === 0) return make("div", {});
  const options = {
    key,
    title: name ? `${machine.name}, ${name}` : machine.name,
    machine,
    kinds: item.reads,
    draft: () => row.line().draft,
    change(change) {
      row.alter((line) => {
        change(line.draft);
        // Whoever reads has done the task, unless it was said otherwise.
        if (!line.outcome && hasReading(line.draft)) line.outcome = "done";
      });
      update();
    },
  };
  const form = draftForm(page, options);
  const done = () => form.dispatchEvent(new Event("rebuild"));
  if (item.reads.includes("speed")) {
    page.taps.set(key, (whenUsed) => tapInto(page, { ...options, done, whenUsed }));
  }
  if (form.querySelectorAll(".field, .choice").length === 1) return form;
  const properties = {
    class: "read",
    open: hasReading(row.line().draft),
    "data-key": `${key} reading`,
  };
  return fold(`Read ${kindWords(item.reads)}`, properties, form);
}
