/* Unsent work: what was ticked, typed and tapped for a visit that is not handed over yet.

It is {begun, touched, handedAs, isOpened, helpers, meters, note, work, closes, extras, rows,
rounds}. `work` is keyed by "task place"; `extras` are findings and readings beside the tasks, in
order; `rows` are taps that were neither used nor reset. `begun` and `touched` are the site's time at
the first and the latest change, `handedAs` the file name it was handed over under since,
`handedKeys` the work it says is done, `isOpened` whether the host's page was opened for it. */

const LEFT_AFTER_H = 4;

function emptyWork() {
  return {
    begun: "",
    touched: "",
    handedAs: "",
    isOpened: false,
    handedKeys: [],
    helpers: [],
    meters: {},
    note: "",
    work: {},
    closes: {},
    extras: [],
    rows: {},
    rounds: {},
  };
}

function emptyLine() {
  return { outcome: "", reason: "", strokes: "", note: "", draft: emptyDraft() };
}

function workKey(task, place) {
  return `${task} ${place}`;
}

/* Work as it was kept; throws where the text holds something else. */
function workFromText(text) {
  const kept = JSON.parse(text);
  const empty = emptyWork();
  const isKind = (value, sample) =>
    Array.isArray(value) === Array.isArray(sample) &&
    typeof value === typeof sample &&
    value !== null;
  if (!isKind(kept, empty)) throw new TypeError("expected unsent work");
  const work = { ...empty, ...kept };
  for (const [name, sample] of Object.entries(empty)) {
    if (!isKind(work[name], sample)) throw new TypeError(`expected ${name} of unsent work`);
  }
  return work;
}

function hasReading(draft) {
  return (
    draft.taps.length > 0 || Object.keys(draft.typed).length > 0 || (draft.steps ?? []).length > 0
  );
}

/* Whether anything was said that would be missed. */
function holdsWork(unsent) {
  const lines = Object.values(unsent.work);
  return (
    lines.some((line) => line.outcome || line.note || line.strokes || hasReading(line.draft)) ||
    [unsent.meters, unsent.closes, unsent.extras, unsent.rows, unsent.rounds].some(
      (part) => Object.keys(part).length > 0,
    ) ||
    unsent.note !== ""
  );
}

/* Whether it was left on an earlier day, and not just before midnight. */
function isLeftOver(unsent, now) {
  if (!unsent.touched || unsent.touched.slice(0, 10) === now.slice(0, 10)) return false;
  const hours = (Date.parse(`${now}Z`) - Date.parse(`${unsent.touched}Z`)) / 3600000;
  return Math.abs(hours) > LEFT_AFTER_H;
}

/* The visits set aside, each {by, unsent}; throws where the text holds something else. */
function earlierFromText(text) {
  return JSON.parse(text).map(({ by, unsent }) => ({
    by: String(by),
    unsent: workFromText(JSON.stringify(unsent)),
  }));
}
