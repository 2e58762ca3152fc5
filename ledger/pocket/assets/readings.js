/* Which fields a reading asks for, and what was typed into them.

A draft is {method, typed, taps, passesPerTurn, lineRate}: `typed` maps "kind.field" to the text
as typed, so that half-typed numbers survive a reload; `method` is the way a speed is read;
`passesPerTurn` is that of the taps; `lineRate` is null where it was the site's. A tuning session
adds `steps`, `set` and `keypad` (tuning.js).
READING_KINDS is written before the scripts, from the table of `ledger.model.readings`. */

const SETTING_STEMS = { Hz: "hz", gpm: "flow_gpm", "L/min": "flow_lpm" };
const SPEED_METHODS = {
  taps: { words: "Tap", fields: [], required: [] },
  count: {
    words: "Count",
    fields: ["counted", "seconds", "start", "passes_per_turn"],
    required: ["counted", "seconds"],
  },
  turns: { words: "Time turns", fields: ["turns", "seconds"], required: ["turns", "seconds"] },
  tachometer: {
    words: "Tachometer",
    fields: ["tachometer_rpm", "instrument", "accuracy_rpm"],
    required: ["tachometer_rpm", "accuracy_rpm"],
  },
  film: {
    words: "Film",
    fields: ["turns", "frames", "fps"],
    required: ["turns", "frames", "fps"],
  },
};
const CHOICE_WORDS = {
  random: "At any moment",
  "on-pass": "On a pass, not counted",
  against: "Against the vehicle's travel",
  with: "With the vehicle's travel",
  now: "Now",
  soon: "Soon (days)",
  planned: "Planned",
};

function kindWords(kinds) {
  return kinds.map((kind) => READING_KINDS[kind].title.toLowerCase()).join(", ");
}

function emptyDraft() {
  return {
    method: "taps",
    typed: {},
    taps: [],
    passesPerTurn: 1,
    lineRate: null,
    steps: [],
    set: null,
    keypad: "",
  };
}

/* The draft of the reading now in the form, without the steps kept before it. */
function readingAlone(draft) {
  return { ...draft, typed: onlySpeed(draft.typed), steps: [], set: null };
}

/* The groups of fields for kinds of reading: [{kind, fields, required}]. A speed on a drive that
   can be set also asks for the setting, without which the reading teaches little. */
function fieldGroups(kinds, { units, settingUnit, method }) {
  const wanted = [...kinds];
  if (wanted.includes("speed") && settingUnit && !wanted.includes("setting")) {
    wanted.splice(wanted.indexOf("speed") + 1, 0, "setting");
  }
  const groups = wanted.map((kind) => ({ kind, ...groupOf(kind, units, settingUnit, method) }));
  const catches = wanted.includes("catch");
  return groups.filter(
    // The catch asks for the pressure itself, and an entry holds one pressure.
    ({ kind, fields }) =>
      (fields.length > 0 || kind === "speed") && !(catches && kind === "pressure"),
  );
}

function groupOf(kind, units, settingUnit, method) {
  if (kind === "speed") return SPEED_METHODS[method];
  if (kind !== "setting") return READING_KINDS[kind][units];
  const stem = SETTING_STEMS[settingUnit];
  return { fields: stem ? [`found_${stem}`, `left_${stem}`] : [], required: [] };
}

/* What was typed into a field: {value}, {} where nothing was, or {problem}. A decimal comma
   counts as a point: many phones offer no other key. */
function parseTyped(text, stated) {
  const trimmed = text.trim();
  if (trimmed === "") return {};
  if (stated.enum || stated.type === "string") return { value: trimmed };
  if (stated.type === "boolean") return { value: true };
  const plain = trimmed.replace(",", ".");
  if (!/^-?(?:\d+\.?\d*|\.\d+)$/.test(plain)) return { problem: "a number is wanted" };
  const value = Number(plain);
  if (stated.type === "integer" && !Number.isInteger(value)) {
    return { problem: "a whole number is wanted" };
  }
  if (value < stated.minimum) return { problem: `at least ${stated.minimum} is wanted` };
  if (value <= stated.exclusiveMinimum) {
    return { problem: `more than ${stated.exclusiveMinimum} is wanted` };
  }
  if (value > stated.maximum) return { problem: `at most ${stated.maximum} is wanted` };
  return { value };
}

/* The readings of a draft as fields of entries: {speed, other, problems}, a problem {words, field}
   with the field to mend. `siteUnits` are what a reading lacks is asked for in, where nothing that
   was typed has units of its own. */
function draftReadings(draft, fields, siteUnits) {
  const problems = [];
  let speed = {};
  const other = {};
  if (draft.method === "taps") {
    if (draft.taps.length > 0) {
      speed.taps_s = draft.taps;
      if (draft.passesPerTurn !== 1) speed.passes_per_turn = draft.passesPerTurn;
    }
    if (draft.taps.length > 0 && draft.taps.length < LEAST_TAPS) {
      const words = `only ${draft.taps.length} taps: tap at least ${LEAST_TAPS} passes.`;
      problems.push({ words, field: "speed.taps" });
    }
  } else {
    const { fields: names, required: usual } = SPEED_METHODS[draft.method];
    // An instrument states its accuracy itself.
    const isNamed = Boolean(draft.typed["speed.instrument"]);
    const required = usual.filter((name) => !(isNamed && name === "accuracy_rpm"));
    takeTyped(draft, "speed", names, required, fields, speed, problems);
    if (speed.passes_per_turn === 1) delete speed.passes_per_turn;
    if (speed.start === "random") delete speed.start;
  }
  const steps = draft.steps ?? [];
  if (steps.length > 0) {
    const [stem] = Object.keys(steps[0]);
    const isRead = Object.keys(speed).length > 0;
    if (isRead) speed = { steps: [...steps, { [stem]: draft.set, ...speed }] };
    else speed = { steps, ...(draft.set === null ? {} : { [`left_${stem}`]: draft.set }) };
    if (draft.keypad) speed.keypad = draft.keypad;
  }
  if (draft.lineRate !== null && Object.keys(speed).length > 0) {
    speed.line_rate_per_h = draft.lineRate;
  }
  const kinds = Object.keys(READING_KINDS).filter((kind) => kind !== "speed");
  for (const kind of kinds) {
    const names = Object.keys(draft.typed)
      .filter((key) => key.startsWith(`${kind}.`))
      .map((key) => key.slice(kind.length + 1));
    const { required } = groupOf(kind, unitsOf(kind, names, siteUnits), null, "count");
    takeTyped(draft, kind, names, required, fields, other, problems);
  }
  const order = Object.keys(fields);
  const inOrder = (found) =>
    Object.fromEntries(
      Object.entries(found).sort(([a], [b]) => order.indexOf(a) - order.indexOf(b)),
    );
  return { speed: inOrder(speed), other: inOrder(other), problems };
}

/* The system of units that asks for all of these fields, that of the site where both do. */
function unitsOf(kind, names, siteUnits) {
  const other = siteUnits === "us" ? "si" : "us";
  const asksForAll = (units) =>
    names.every((name) => READING_KINDS[kind][units]?.fields.includes(name));
  return [siteUnits, other].find(asksForAll) ?? siteUnits;
}

/* A draft without what belongs to other kinds of reading or another drive: typed before the choice
   was changed, kept in case it is changed back, but no part of the visit. */
function draftFor(draft, kinds, settingUnit) {
  const stem = SETTING_STEMS[settingUnit];
  const belongs = ([key]) => {
    const [kind, name] = key.split(".");
    if (kind === "setting")
      return kinds.includes("speed") || kinds.includes(kind)
        ? name.endsWith(stem) || (name === "no_meter" && hasNoMeter(settingUnit))
        : false;
    return kinds.includes(kind);
  };
  const steps = kinds.includes("speed") ? (draft.steps ?? []) : [];
  return {
    ...draft,
    typed: Object.fromEntries(Object.entries(draft.typed).filter(belongs)),
    taps: kinds.includes("speed") ? draft.taps : [],
    steps: steps.every((step) => stem in step) ? steps : [],
  };
}

/* Whether a setting may have nothing to read it on: a frequency drive always shows its Hz. */
function hasNoMeter(settingUnit) {
  return Boolean(settingUnit) && settingUnit !== "Hz";
}

function takeTyped(draft, kind, names, required, fields, found, problems) {
  const mine = {};
  for (const name of names) {
    const { value, problem } = parseTyped(draft.typed[`${kind}.${name}`] ?? "", fields[name]);
    if (problem) {
      problems.push({ words: `${fields[name].label}: ${problem}`, field: `${kind}.${name}` });
    }
    if (value !== undefined) mine[name] = value;
  }
  const given = required.filter((name) => mine[name] !== undefined);
  const rest = Object.keys(mine).some((name) => !isChoice(name, fields));
  if (rest && given.length < required.length && problems.length === 0) {
    const missing = required.filter((name) => mine[name] === undefined);
    const labels = missing.map((name) => fields[name].label).join(" and ");
    problems.push({
      words: `${READING_KINDS[kind].title}: ${labels} wanted`,
      field: `${kind}.${missing[0]}`,
    });
  }
  // A choice alone, such as how the watch was started, is no reading.
  if (rest || kind === "turning") Object.assign(found, mine);
}

function isChoice(name, fields) {
  return Boolean(fields[name].enum) || name === "passes_per_turn" || name === "instrument";
}

/* Where to begin with a reading that was not read. */
function firstField(kind, draft) {
  if (kind !== "speed") return `read ${kind}`;
  return `speed.${SPEED_METHODS[draft.method].required[0] ?? "taps"}`;
}

/* The speed a draft gives just now: {speed}, {flaw} with words, or {} where nothing was read. */
function draftSpeed(draft, fields, uSeconds) {
  const { speed, problems } = draftReadings(readingAlone(draft), fields, "si");
  if (problems.length > 0) return Object.keys(speed).length ? { flaw: problems[0].words } : {};
  try {
    const found = speedOfEntry(speed, uSeconds);
    return found ? { speed: found } : {};
  } catch (error) {
    if (error instanceof SpeedError) return { flaw: error.message };
    throw error;
  }
}

function onlySpeed(typed) {
  return Object.fromEntries(Object.entries(typed).filter(([key]) => key.startsWith("speed.")));
}
