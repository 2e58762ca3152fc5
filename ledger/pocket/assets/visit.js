/* Unsent work becomes a visit, or a list of what is still missing.

Unsent work is {begun, helpers, meters, note, work, closes, extras}. `work` is keyed by
"task place"; `extras` are findings and readings beside the tasks, in order. */

const MOST_PLACES = 60;
const MOST_ENTRIES = 200;

function emptyWork() {
  return { begun: "", helpers: [], meters: {}, note: "", work: {}, closes: {}, extras: [] };
}

function emptyLine() {
  return { outcome: "", reason: "", strokes: "", note: "", draft: emptyDraft() };
}

function workKey(task, place) {
  return `${task} ${place}`;
}

/* {visit, problems, reminders}. A problem keeps the visit from being sent, a reminder does not;
   both are {words, view, key} and say where to mend them. */
function visitOf(unsent, person, round, fields) {
  const problems = [];
  const entries = [
    ...workEntries(unsent, round, fields, problems),
    ...closingEntries(unsent, round, fields, problems),
    ...extraEntries(unsent, round, fields, problems),
  ];
  if (!person) problems.push({ words: "Say who you are.", view: "walk", key: "person" });
  if (entries.length === 0) {
    problems.push({
      words: "Nothing is filed yet: a visit needs at least one entry.",
      view: "walk",
    });
  }
  if (entries.length > MOST_ENTRIES) {
    problems.push({ words: `A visit holds at most ${MOST_ENTRIES} entries.`, view: "walk" });
  }
  const meters = {};
  for (const [name, text] of Object.entries(unsent.meters)) {
    const { value, problem } = parseTyped(text, { type: "number", minimum: 0 });
    if (problem)
      problems.push({ words: `Meter ${name}: ${problem}.`, view: "visit", key: `meter ${name}` });
    if (value !== undefined) meters[name] = value;
  }
  const note = noteOf(unsent.note, fields, (words) => problems.push({ words, view: "visit" }));
  const helpers = unsent.helpers.filter((helper) => helper !== person);
  const visit = { at: unsent.begun, by: person };
  if (helpers.length > 0) visit.with = helpers;
  if (Object.keys(meters).length > 0) visit.meters = meters;
  if (note) visit.note = note;
  visit.entries = entries;
  return { visit, problems, reminders: remindersOf(unsent, person, round, fields) };
}

/* What a visit may lack and still be true: readings that a task asks for, a qualification. */
function remindersOf(unsent, person, round, fields) {
  const reminders = [];
  for (const item of round.due) {
    const done = item.places.filter(
      (place) => unsent.work[workKey(item.task, place)]?.outcome === "done",
    );
    const remind = (place, words, key = workKey(item.task, place)) =>
      reminders.push({
        words: `${item.title}, ${placeName(round, place)}: ${words}`,
        view: "walk",
        key,
      });
    const lacking = lackingNeeds(item, person, round);
    if (lacking.length > 0 && done.length > 0) {
      const words = `${lacking.join(", ")} is not among your qualifications.`;
      remind(item.machine, words, workKey(item.task, done[0]));
    }
    if (item.reads.length === 0) continue;
    for (const place of done) {
      const { speed, other } = draftReadings(unsent.work[workKey(item.task, place)].draft, fields);
      const isRead = Object.keys(speed).length + Object.keys(other).length > 0;
      if (!isRead) remind(place, "nothing was read.");
    }
  }
  return reminders;
}

/* The qualifications that a task takes and the person does not hold. */
function lackingNeeds(item, person, round) {
  const known = round.people.find((one) => one.ident === person);
  return known ? item.needs.filter((need) => !known.qualified.includes(need)) : [];
}

/* Task lines in walking order; those of an earlier day's page, no longer due, come last. */
function orderedKeys(unsent, round) {
  const due = round.due.flatMap((item) => item.places.map((place) => workKey(item.task, place)));
  const known = new Set(due);
  return [...due, ...Object.keys(unsent.work).filter((key) => !known.has(key))].filter(
    (key) => key in unsent.work,
  );
}

function workEntries(unsent, round, fields, problems) {
  const entries = [];
  let grouped = null;
  for (const key of orderedKeys(unsent, round)) {
    const [task, place] = key.split(" ");
    const line = unsent.work[key];
    const title = round.due.find((item) => item.task === task)?.title ?? task;
    const problem = (words) =>
      problems.push({ words: `${title}, ${placeName(round, place)}: ${words}`, view: "walk", key });
    const { head, readings, apart } = lineParts(line, task, fields, problem);
    const alone = Object.keys(readings).length > 0 || head === null;
    const shape = JSON.stringify(head);
    if (!alone && grouped && grouped.shape === shape && grouped.places.length < MOST_PLACES) {
      grouped.places.push(place);
    } else if (!alone) {
      grouped = { shape, places: [place], entry: { ...head } };
      entries.push(grouped);
    } else if (head || Object.keys(readings).length > 0) {
      const { task: named, ...rest } = head ?? {};
      entries.push({
        entry: { ...(named ? { task: named } : {}), at: place, ...rest, ...readings },
      });
    }
    if (apart) entries.push({ entry: { at: place, ...apart } });
  }
  return entries.map(({ entry, places }) => {
    if (!places) return entry;
    const { task, ...rest } = entry;
    return { task, at: places.length === 1 ? places[0] : places, ...rest };
  });
}

/* What one task at one place says: `head` of its entry (null where it is not ticked), its
   readings, and those that need an entry of their own. */
function lineParts(line, task, fields, problem) {
  const found = draftReadings(line.draft, fields);
  found.problems.forEach(problem);
  checkTaps(line.draft, problem);
  const both = found.speed.seconds !== undefined && found.other.seconds !== undefined;
  const readings = both ? found.speed : { ...found.speed, ...found.other };
  const apart = both ? found.other : null;
  if (!line.outcome) return { head: null, readings, apart };
  const head = { task };
  const reason = cleanLine(line.reason);
  const note = noteOf(line.note, fields, problem);
  if (line.outcome === "not-done") {
    head.outcome = "not-done";
    if (reason) head.reason = reason;
    else problem("say why it was not done.");
    checkLength("The reason", reason, fields.reason, problem);
  }
  const strokes = parseTyped(line.strokes, fields.strokes);
  if (strokes.problem) problem(`strokes: ${strokes.problem}`);
  if (strokes.value !== undefined && line.outcome === "done") head.strokes = strokes.value;
  if (note) head.note = note;
  return { head, readings, apart };
}

function noteOf(text, fields, problem) {
  const note = cleanText(text);
  checkLength("The note", note, fields.note, problem);
  return note;
}

function checkLength(words, text, { maxLength }, problem) {
  if (text.length > maxLength) problem(`${words} is longer than ${maxLength} characters.`);
}

/* The name people use for a place. */
function placeName(round, place) {
  const [ident, point] = place.split("/");
  const machine = round.machines.find((one) => one.ident === ident);
  const name = machine?.name ?? ident;
  if (!point) return name;
  return `${name}: ${machine?.points.find((one) => one.ident === point)?.name ?? point}`;
}

function checkTaps(draft, problem) {
  if (draft.method === "taps" && draft.taps.length > 0 && draft.taps.length < LEAST_TAPS) {
    problem(`only ${draft.taps.length} taps: tap at least ${LEAST_TAPS} passes.`);
  }
}

function closingEntries(unsent, round, fields, problems) {
  return Object.entries(unsent.closes).map(([ref, { note, place }]) => {
    const finding = round.findings.find((open) => open.ref === ref);
    const entry = { closes: ref, at: finding ? finding.place : place };
    const words = noteOf(note, fields, (said) => problems.push({ words: said, view: "findings" }));
    if (words) entry.note = words;
    return entry;
  });
}

function extraEntries(unsent, round, fields, problems) {
  return unsent.extras.flatMap((extra) => {
    const machine = round.machines.find((one) => one.ident === extra.machine);
    const view = extra.what === "finding" ? "findings" : "readings";
    const problem = (words) => problems.push({ words, view, key: extra.key });
    if (!extra.machine) {
      problem(
        extra.what === "finding" ? "A finding needs its place." : "A reading needs its place.",
      );
    }
    const place = extra.point ? `${extra.machine}/${extra.point}` : extra.machine;
    return extra.what === "finding"
      ? findingEntry(extra, place, fields, problem)
      : readingEntries(extra, place, machine, fields, problem);
  });
}

function findingEntry(extra, place, fields, problem) {
  const finding = cleanLine(extra.text);
  if (!finding) problem("A finding needs its words: what is wrong?");
  checkLength("The finding", finding, fields.finding, problem);
  const entry = { finding, at: place, urgency: extra.urgency };
  if (extra.failed) entry.failed = true;
  const stopped = parseTyped(extra.stopped, fields.stopped_minutes);
  if (stopped.problem) problem(`Stopped minutes: ${stopped.problem}`);
  if (stopped.value !== undefined) entry.stopped_minutes = stopped.value;
  const note = noteOf(extra.note, fields, problem);
  if (note) entry.note = note;
  return [entry];
}

function readingEntries(extra, place, machine, fields, problem) {
  const draft = draftFor(extra.draft, [extra.kind], machine?.setting_unit);
  const { speed, other, problems } = draftReadings(draft, fields);
  problems.forEach(problem);
  checkTaps(draft, problem);
  const read = { ...speed, ...other };
  if (Object.keys(read).length === 0) {
    if (problems.length === 0) problem("A reading has nothing read: fill it in or remove it.");
    return [];
  }
  const note = noteOf(extra.note, fields, problem);
  return [{ at: place, ...read, ...(note ? { note } : {}) }];
}
