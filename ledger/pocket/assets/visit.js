/* Unsent work becomes a visit, with what is missing in it and what stays open. */

const MOST_PLACES = 60;
const MOST_ENTRIES = 200;

/* {visit, problems, reminders}. A problem keeps the visit from being sent, a reminder does not;
   both are {words, view, key, field} and say where to mend them. */
function visitOf(unsent, person, round, fields) {
  const problems = [];
  const entries = [
    ...claimEntries(unsent, person, round),
    ...workEntries(unsent, round, fields, problems),
    ...closingEntries(unsent, round, fields, problems),
    ...extraEntries(unsent, round, fields, problems),
  ];
  const isHere = (ident) => round.people.some((one) => one.ident === ident);
  if (!isHere(person)) problems.push({ words: "Say who you are.", view: "walk", key: "person" });
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
  const note = noteOf(unsent.note, fields, (words) =>
    problems.push({ words, view: "visit", key: "visit note" }),
  );
  const helpers = unsent.helpers.filter((helper) => helper !== person && isHere(helper));
  const visit = { at: unsent.begun, by: person };
  if (helpers.length > 0) visit.with = helpers;
  if (Object.keys(meters).length > 0) visit.meters = meters;
  if (note) visit.note = note;
  visit.entries = entries;
  return { visit, problems, reminders: remindersOf(unsent, person, round, fields) };
}

/* What a visit may lack and still be true: readings that a task asks for, a qualification, taps;
   and speeds that no such shaft has. */
function remindersOf(unsent, person, round, fields) {
  return [
    ...round.due.flatMap((item) => itemReminders(item, unsent, person, round, fields)),
    ...implausibleSpeeds(unsent, round, fields),
    ...Object.entries(unsent.rows).map(([key, row]) => ({
      words: `${row.times.length} taps were neither used nor reset.`,
      view: unsent.extras.some((extra) => extra.key === key) ? "readings" : "walk",
      key,
      field: "speed.taps",
    })),
  ];
}

/* Speeds typed that the shaft cannot have, by the rule of ledger.assess.plausible. */
function implausibleSpeeds(unsent, round, fields) {
  const drafts = [
    ...orderedKeys(unsent, round).map((key) => ({
      key,
      view: "walk",
      place: key.split(" ")[1],
      draft: unsent.work[key].draft,
    })),
    ...unsent.extras
      .filter((extra) => extra.what !== "finding" && extra.kind === "speed")
      .map(({ key, machine, draft }) => ({ key, view: "readings", place: machine, draft })),
  ];
  return drafts.flatMap(({ key, view, place, draft }) => {
    const machine = round.machines.find((one) => one.ident === place.split("/")[0]);
    const { speed } = draftSpeed(draft, fields, round.timing_u_s);
    const limits = machine?.plausible_rpm;
    if (!speed || !limits || (limits[0] <= speed.rpm && speed.rpm <= limits[1])) return [];
    const rpm = Number(speed.rpm.toPrecision(4));
    const words = `${machine.name}: ${rpm} r/min is no speed of such a shaft: look at the count, the seconds and the passes per turn.`;
    return [{ words, view, key, field: firstField("speed", draft) }];
  });
}

function itemReminders(item, unsent, person, round, fields) {
  const done = item.places.filter(
    (place) => unsent.work[workKey(item.task, place)]?.outcome === "done",
  );
  const lacking = done.length > 0 ? lackingNeeds(item, person, round) : [];
  const reminders = done.flatMap((place) => {
    const key = workKey(item.task, place);
    const missing = missingReadings(item, place, unsent.work[key].draft, round, fields);
    if (missing.length === 0) return [];
    const words = `${item.title}, ${placeName(round, place)}: ${staysDueWords(missing)}`;
    return [{ words, view: "walk", key, field: firstField(missing[0], unsent.work[key].draft) }];
  });
  if (lacking.length > 0) {
    const words = `${item.title}, ${placeName(round, item.machine)}: ${lacking.join(", ")} is not among your qualifications.`;
    reminders.unshift({ words, view: "walk", key: workKey(item.task, done[0]) });
  }
  return reminders;
}

/* The readings that a task asks for at a place and its entry does not hold, by the rule of
   Task.missing_readings: until they are read, the task stays due. */
function missingReadings(item, place, draft, round, fields) {
  if (item.reads.length === 0) return [];
  const machine = round.machines.find((one) => one.ident === place.split("/")[0]);
  const { readings } = entryReadings(draft, fields, round.units);
  return item.reads.filter(
    (kind) =>
      !READING_KINDS[kind].keys.some((name) => name in readings) &&
      (kind !== "setting" || machine?.setting_unit),
  );
}

function staysDueWords(missing) {
  return `no reading of ${kindWords(missing)}, so it stays due.`;
}

/* How far the walk is answered at one machine: {places, done, notDone, unread, open, overdue}. What is
   ticked without its reading is unread; `open` are the keys without any answer. */
function progressOf(items, unsent, round, fields, person) {
  const progress = { places: 0, done: 0, notDone: 0, unread: 0, open: [], overdue: 0 };
  for (const item of items) {
    let stays = 0;
    for (const place of item.places) {
      const key = workKey(item.task, place);
      const line = unsent.work[key];
      progress.places += 1;
      if (isClaimed(unsent, person, round, item, key)) {
        progress.done += 1;
        continue;
      }
      if (line?.outcome === "not-done") progress.notDone += 1;
      else if (!line?.outcome) progress.open.push(key);
      else if (missingReadings(item, place, line.draft, round, fields).length) progress.unread += 1;
      else progress.done += 1;
      if (line?.outcome !== "done") stays += 1;
    }
    if (item.overdue_days > 0 && stays > 0) progress.overdue += 1;
  }
  return progress;
}

/* The work keys that a visit says are done, with what its tasks ask for. */
function keysDone(unsent, person, round, fields) {
  return round.due.flatMap((item) =>
    item.places
      .filter((place) => {
        const key = workKey(item.task, place);
        const line = unsent.work[key];
        if (line?.outcome !== "done") return isClaimed(unsent, person, round, item, key);
        return missingReadings(item, place, line.draft, round, fields).length === 0;
      })
      .map((place) => workKey(item.task, place)),
  );
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
    const problem = (words, field) => {
      const whole = `${title}, ${placeName(round, place)}: ${words}`;
      problems.push({ words: whole, view: "walk", key, field });
    };
    const { head, readings, apart } = lineParts(line, task, round.units, fields, problem);
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
function lineParts(line, task, units, fields, problem) {
  const { readings, apart, problems } = entryReadings(line.draft, fields, units);
  problems.forEach(({ words, field }) => problem(words, field));
  if (!line.outcome) return { head: null, readings, apart };
  const head = { task };
  const reason = cleanLine(line.reason);
  const note = noteOf(line.note, fields, problem);
  if (line.outcome === "not-done") {
    head.outcome = "not-done";
    if (reason) head.reason = reason;
    else problem("say why it was not done.", "reason");
    checkLength("The reason", reason, fields.reason, problem, "reason");
  }
  const strokes = parseTyped(line.strokes, fields.strokes);
  if (strokes.problem) problem(`strokes: ${strokes.problem}`, "strokes");
  if (strokes.value !== undefined && line.outcome === "done") head.strokes = strokes.value;
  if (note) head.note = note;
  return { head, readings, apart };
}

/* The readings of an entry, and those that need an entry of their own: a catch and a count both
   have seconds, and an entry holds one. */
function entryReadings(draft, fields, units) {
  const { speed, other, problems } = draftReadings(draft, fields, units);
  const both = speed.seconds !== undefined && other.seconds !== undefined;
  return {
    readings: both ? speed : { ...speed, ...other },
    apart: both ? other : null,
    problems,
  };
}

function noteOf(text, fields, problem) {
  const note = cleanText(text);
  checkLength("The note", note, fields.note, problem, "note");
  return note;
}

function checkLength(words, text, { maxLength }, problem, field) {
  // Characters as the schema counts them, not halves of surrogate pairs.
  const length = [...text].length;
  if (length > maxLength) {
    problem(`${words} is ${length} characters long; at most ${maxLength} fit.`, field);
  }
}

/* The name people use for a place. */
function placeName(round, place) {
  const [ident, point] = place.split("/");
  const machine = round.machines.find((one) => one.ident === ident);
  const name = machine?.name ?? ident;
  if (!point) return name;
  return `${name}: ${machine?.points.find((one) => one.ident === point)?.name ?? point}`;
}

function closingEntries(unsent, round, fields, problems) {
  return Object.entries(unsent.closes).map(([ref, { note, place }]) => {
    const finding = round.findings.find((open) => open.ref === ref);
    const entry = { closes: ref, at: finding ? finding.place : place };
    const words = noteOf(note, fields, (said) =>
      problems.push({ words: said, view: "findings", key: ref }),
    );
    if (words) entry.note = words;
    return entry;
  });
}

function extraEntries(unsent, round, fields, problems) {
  return unsent.extras.flatMap((extra) => {
    const machine = round.machines.find((one) => one.ident === extra.machine);
    const view = extra.what === "finding" ? "findings" : "readings";
    const problem = (words, field) => problems.push({ words, view, key: extra.key, field });
    if (!extra.machine) problem(`A ${extra.what} needs its place.`);
    const place = extra.point ? `${extra.machine}/${extra.point}` : extra.machine;
    return extra.what === "finding"
      ? findingEntry(extra, place, fields, problem)
      : readingEntries(extra, place, { machine, units: round.units }, fields, problem);
  });
}

function findingEntry(extra, place, fields, problem) {
  const finding = cleanLine(extra.text);
  if (!finding) problem("A finding needs its words: what is wrong?", "finding");
  checkLength("The finding", finding, fields.finding, problem, "finding");
  const entry = { finding, at: place, urgency: extra.urgency };
  if (extra.failed) entry.failed = true;
  const stopped = parseTyped(extra.stopped, fields.stopped_minutes);
  if (stopped.problem) problem(`Stopped minutes: ${stopped.problem}`, "stopped");
  if (stopped.value !== undefined) entry.stopped_minutes = stopped.value;
  const note = noteOf(extra.note, fields, problem);
  if (note) entry.note = note;
  return extra.tied ? [entry, { tied_back: finding, at: extra.machine }] : [entry];
}

function readingEntries(extra, place, { machine, units }, fields, problem) {
  const draft = draftFor(extra.draft, [extra.kind], machine?.setting_unit);
  const { speed, other, problems } = draftReadings(draft, fields, units);
  problems.forEach(({ words, field }) => problem(words, field));
  const read = { ...speed, ...other };
  if (Object.keys(read).length === 0) {
    if (problems.length === 0) {
      const words = "A reading has nothing read: fill it in or remove it.";
      problem(words, firstField(extra.kind, draft));
    }
    return [];
  }
  const note = noteOf(extra.note, fields, problem);
  return [{ at: place, ...read, ...(note ? { note } : {}) }];
}
