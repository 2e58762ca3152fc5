/* Forms: readings, findings, meters. Each field writes what is typed into the unsent work at once,
so there is nothing to save and nothing to forget.

`page` is {round, fields, store, change}; `change(alter)` alters the unsent work. */

const NO_METER = "setting.no_meter";

/* The form of a draft. `options` are {key, title, machine, kinds, draft(), change(alter)}, with
   `change` handing the draft to alter. */
function draftForm(page, options) {
  const { round, fields } = page;
  const { machine, draft, change } = options;
  const holder = make("div", { class: "readings" });
  const verdict = make("p", { class: "verdict", role: "status" });
  const settingWords = make("p", { class: "hint" });
  let tuning = null;
  let noMeter = null;

  function build() {
    tuning =
      machine?.tuning && options.kinds.includes("speed")
        ? tuningPart({ page, machine, draft, change, rebuild: build, again, aim, key: options.key })
        : null;
    const groups = fieldGroups(options.kinds, {
      units: round.units,
      settingUnit: machine?.setting_unit ?? null,
      method: draft().method,
    });
    holder.replaceChildren(...groups.map(groupPart), tuning?.element ?? "");
    update();
  }

  function groupPart({ kind, fields }) {
    // Of a session the last count is what was left.
    const isLeft = (name) => name.startsWith("left_") && stepsOf(draft()).length > 0;
    const names = fields.filter((name) => !isLeft(name));
    const parts = names.map((name) => typedField(kind, name));
    const group = { "data-key": `${options.key} read ${kind}` };
    const legend = make("legend", {}, READING_KINDS[kind].title);
    if (kind === "speed") {
      const ways = make("div", { class: "pairs" }, methodField(), rateField());
      return make("fieldset", group, legend, ways, ...speedParts(parts), verdict);
    }
    // One field carries its own words; a frame around it would only say the same again.
    if (kind !== "setting" && parts.length === 1) return make("div", group, ...parts);
    const words =
      kind === "setting" ? [approvedWords(machine, asApproved), noMeterPart(), settingWords] : [];
    return make("fieldset", group, legend, ...words, make("div", { class: "pairs" }, ...parts));
  }

  /* What the drive was found at, without typing it. */
  function asApproved() {
    change((altered) => findAsApproved(machine, altered));
    build();
  }

  /* A valve whose flow nothing shows has an answer of its own. */
  function noMeterPart() {
    if (!hasNoMeter(machine?.setting_unit)) return "";
    noMeter = tickField("No meter: turned as before", NO_METER in draft().typed, (isSo) => {
      change((altered) => {
        for (const name of Object.keys(altered.typed)) {
          if (name.startsWith("setting.")) delete altered.typed[name];
        }
        if (isSo) altered.typed[NO_METER] = "true";
      });
      build();
    });
    return noMeter;
  }

  function typedField(kind, name) {
    const typedKey = `${kind}.${name}`;
    const key = `${options.key} ${typedKey}`;
    const typed = draft().typed[typedKey] ?? "";
    const write = (text) => {
      change((altered) => {
        if (text.trim() === "") delete altered.typed[typedKey];
        else altered.typed[typedKey] = text;
        if (kind === "setting") delete altered.typed[NO_METER];
      });
      update();
    };
    if (name === "instrument") return instrumentField(typed, write, key);
    const label = name === "start" ? "The watch was started" : fields[name].label;
    if (!fields[name].enum) return textField(label, typed, write, { numeric: true, key });
    const none = fields[name].default ? [] : [["", "Not looked at"]];
    const choices = fields[name].enum.map((value) => [value, CHOICE_WORDS[value]]);
    const chosen = typed || (fields[name].default ?? "");
    return choiceField(label, [...none, ...choices], chosen, write, { key });
  }

  function instrumentField(typed, write, key) {
    if (round.instruments.length === 0) return "";
    const named = round.instruments.map(({ ident, name }) => [ident, name]);
    const doubt = make("p", { class: "hint", role: "status" });
    const say = (ident) =>
      setText(doubt, round.instruments.find((one) => one.ident === ident)?.doubt ?? "");
    say(typed);
    const pick = (ident) => {
      write(ident);
      say(ident);
    };
    const options_ = [["", "Not named"], ...named];
    return make("div", {}, pickField("Instrument", options_, typed, pick, { key }), doubt);
  }

  function methodField() {
    const methods = Object.entries(SPEED_METHODS).map(([method, { words }]) => [method, words]);
    return pickField("How it is read", methods, draft().method, (method) => {
      change((altered) => {
        altered.method = method;
      });
      build();
    });
  }

  function rateField() {
    if (!machine || machine.bands.length < 2) return null;
    const rates = round.line_rates_per_h.filter((rate) => rate !== round.line_rate_per_h);
    const options_ = [
      ["", `${round.line_rate_per_h} (the site's)`],
      ...rates.map((r) => [String(r), String(r)]),
    ];
    return pickField(
      "Line rate, vehicles an hour",
      options_,
      String(draft().lineRate ?? ""),
      (value) => {
        change((altered) => {
          altered.lineRate = value === "" ? null : Number(value);
        });
        update();
      },
    );
  }

  function speedParts(parts) {
    if (draft().method !== "taps") return [make("div", { class: "pairs" }, ...parts)];
    const { taps } = draft();
    const words = taps.length > 0 ? "Tap again" : "Open the tap tachometer";
    return [
      make(
        "div",
        { "data-key": `${options.key} speed.taps` },
        taps.length > 0 ? make("p", {}, `${taps.length} taps kept.`) : "",
        button(words, tapNow, { class: "main" }),
      ),
    ];
  }

  function band() {
    return machine ? bandAt(machine.bands, draft().lineRate ?? round.line_rate_per_h) : null;
  }

  function aim() {
    const limits = band();
    const target = limits && targetAt(machine.bands, draft().lineRate ?? round.line_rate_per_h);
    return limits ? { band: limits, target } : null;
  }

  function tapNow() {
    const whenUsed = () => tuning?.element.scrollIntoView({ block: "start" });
    tapInto(page, { ...options, done: build, whenUsed });
  }

  /* The drive was set: what is counted now is counted there, without looking for it. */
  function again() {
    if (draft().method === "taps") tapNow();
    else holder.querySelector(`[data-key^="${CSS.escape(`${options.key} speed.`)}"] input`)?.focus();
  }

  function update() {
    setText(
      verdict,
      speedWords(draftSpeed(draft(), fields, round.timing_u_s), band(), draft(), round),
    );
    setText(settingWords, settingDifference(machine, draft()));
    if (noMeter) noMeter.querySelector("input").checked = NO_METER in draft().typed;
    tuning?.update();
  }

  // Whoever else fills the draft says so.
  holder.addEventListener("rebuild", build);
  build();
  return holder;
}

/* Tap a speed into a draft; `options` are those of its form, `done()` once it is there, and
   `whenUsed()` once the page is in sight again. */
function tapInto(page, { key, title, machine, draft, change, done, whenUsed }) {
  const { round } = page;
  const rate = draft().lineRate ?? round.line_rate_per_h;
  const band = machine ? bandAt(machine.bands, rate) : null;
  const use = (alter) => (taps, passesPerTurn) => {
    change((altered) => {
      Object.assign(altered, { taps, passesPerTurn });
      alter(altered);
    });
    done();
  };
  const ways = [["Use this reading", use(() => {})]];
  if (machine?.approved && stepsOf(draft()).length === 0) {
    const words = `Use it, found at ${machine.approved.value} ${machine.setting_unit} as approved`;
    ways.push([words, use((altered) => findAsApproved(machine, altered))]);
  }
  openTachometer(page.store, {
    key,
    title,
    band,
    bandWords: band
      ? `Band ${bandWords(band)} r/min at ${rate} vehicles an hour.`
      : "No band is stated for this machine.",
    passesPerTurn: draft().passesPerTurn,
    ways,
    whenUsed,
  });
}

/* The drive was found at what is approved. */
function findAsApproved(machine, draft) {
  delete draft.typed[NO_METER];
  draft.typed[`setting.found_${SETTING_STEMS[machine.setting_unit]}`] = String(machine.approved.value);
}

/* What a reading says so far, in words. */
function speedWords({ speed, flaw }, band, draft, round) {
  if (flaw) return `No speed yet: ${flaw}`;
  if (!speed) return "";
  const words = `${shownSpeed(speed)} r/min`;
  if (!band) return `${words}. No band is stated for this machine.`;
  const chance = shownProbability(pInBand(speed, band));
  const passesPerTurn =
    draft.method === "taps"
      ? draft.passesPerTurn
      : Number(draft.typed["speed.passes_per_turn"]) || 1;
  const start = draft.method === "count" ? draft.typed["speed.start"] : "random";
  const ownBeat = draft.method === "taps" && speedFromTaps(draft.taps, { passesPerTurn }).ownBeat;
  const way = { passesPerTurn, start, ownBeat, uSeconds: round.timing_u_s };
  const advice = adviceFor(speed, band, way);
  const verdict = `${verdictOf(speed, band)} ${bandWords(band)} (chance ${chance})`;
  return `${words}: ${verdict}${advice ? `; ${advice}` : ""}.`;
}

function approvedWords(machine, asApproved) {
  if (!machine.approved) return make("p", {}, "No approved setting.");
  const { value, since } = machine.approved;
  return make(
    "div",
    { class: "buttons" },
    make("p", {}, `Approved: ${value} ${machine.setting_unit} since ${since}.`),
    button("Found as approved", asApproved),
  );
}

function settingDifference(machine, draft) {
  if (!machine?.setting_unit || !machine.approved) return "";
  const stem = SETTING_STEMS[machine.setting_unit];
  const read = (name) =>
    parseTyped(draft.typed[`setting.${name}_${stem}`] ?? "", { type: "number" }).value;
  const { value } = machine.approved;
  const words = [];
  if (read("found") !== undefined && read("found") !== value) {
    words.push(`Found at ${read("found")}, not the approved ${value} ${machine.setting_unit}.`);
  }
  if (read("left") !== undefined && read("left") !== value) {
    words.push(
      "Left at another value than approved: it must be proposed, and approved by a second person.",
    );
  }
  return words.join(" ");
}

/* Machine and point of a finding or reading. */
function placeFields(page, extra, onpick) {
  const { machines } = page.round;
  const points = machines.find((machine) => machine.ident === extra.machine)?.points ?? [];
  const machineOptions = machines.map((m) => [m.ident, `${m.station} · ${m.name}`]);
  const pointOptions = points.map((point) => [point.ident, point.name]);
  return [
    pickField("Machine", [["", "Choose"], ...machineOptions], extra.machine, (machine) =>
      onpick({ machine, point: "" }),
    ),
    pickField("Point", [["", "The whole machine"], ...pointOptions], extra.point, (point) =>
      onpick({ point }),
    ),
  ];
}

/* One finding or reading beside the tasks, with its way out. */
function extraCard(page, key) {
  const card = make("section", { class: "card", "data-key": key });
  const extra = () => page.store.unsent.extras.find((one) => one.key === key);
  const { what } = extra();
  const set = (altered) =>
    page.change(() => {
      Object.assign(extra(), altered);
    });
  const setPlace = (altered) => {
    set(altered);
    const machine = page.round.machines.find((one) => one.ident === extra().machine);
    if (what === "reading" && !canBeRead(extra().kind, machine)) set({ kind: "speed" });
    build();
  };
  const remove = async () => {
    if (!(await ask("Remove this from the visit?", "Remove"))) return;
    page.change((unsent) => {
      unsent.extras = unsent.extras.filter((one) => one.key !== key);
    });
    card.remove();
  };
  function build() {
    const parts =
      what === "finding" ? findingParts(extra(), set) : readingParts(page, extra, setPlace);
    card.replaceChildren(
      make("h3", {}, what === "finding" ? "Finding" : "Reading"),
      ...placeFields(page, extra(), setPlace),
      ...parts,
      textField("Note", extra().note, (note) => set({ note }), {
        long: true,
        key: `${key} note`,
      }),
      button("Remove", remove),
    );
  }
  build();
  return card;
}

function findingParts(extra, set) {
  const urgencies = ["now", "soon", "planned"].map((value) => [value, CHOICE_WORDS[value]]);
  return [
    textField("What is wrong", extra.text, (text) => set({ text }), {
      key: `${extra.key} finding`,
    }),
    choiceField("Urgency", urgencies, extra.urgency, (urgency) => set({ urgency })),
    tickField("It failed: it no longer does its job", extra.failed, (failed) => set({ failed })),
    tickField("Tied back: out of action while the line runs", extra.tied, (tied) => set({ tied })),
    textField("Stopped, min", extra.stopped, (stopped) => set({ stopped }), {
      numeric: true,
      key: `${extra.key} stopped`,
    }),
  ];
}

/* A setting is read only off a drive that can be set. */
function canBeRead(kind, machine) {
  return kind !== "setting" || Boolean(machine?.setting_unit);
}

function readingParts(page, extra, setPlace) {
  const machine = page.round.machines.find((one) => one.ident === extra().machine);
  const kinds = Object.entries(READING_KINDS)
    .filter(([kind]) => canBeRead(kind, machine))
    .map(([kind, { title }]) => [kind, title]);
  return [
    pickField("What is read", kinds, extra().kind, (kind) => setPlace({ kind })),
    draftForm(page, {
      key: extra().key,
      title: machine?.name ?? "",
      machine,
      kinds: [extra().kind],
      draft: () => extra().draft,
      change: (alter) => page.change(() => alter(extra().draft)),
    }),
  ];
}

/* What stands open at a place, with a tick by which an entry closes it. */
function closingPart(page, ref, place, words) {
  const part = make("div", { "data-key": ref });
  const closing = () => page.store.unsent.closes[ref];
  const build = () => {
    part.replaceChildren(
      tickField(words, Boolean(closing()), (right) => {
        page.change((unsent) => {
          if (right) unsent.closes[ref] = { note: "", place };
          else delete unsent.closes[ref];
        });
        build();
      }),
      closing()
        ? textField(
            "How",
            closing().note,
            (note) =>
              page.change(() => {
                closing().note = note;
              }),
            { long: true },
          )
        : "",
    );
  };
  build();
  return part;
}

function openFindingCard(page, finding) {
  return make(
    "section",
    { class: "card" },
    make("h3", {}, finding.text),
    make(
      "p",
      {},
      `${placeName(page.round, finding.place)}. ${CHOICE_WORDS[finding.urgency]}, since ${finding.day}.`,
    ),
    closingPart(page, finding.ref, finding.place, "Put right"),
  );
}

/* Machines whose work waits. */
function tiedBackPart(page) {
  return page.round.tied_back.map((one) => {
    const machine = page.round.machines.find(({ ident }) => ident === one.machine);
    const first = one.first.length > 0 ? `Before it runs again: ${one.first.join("; ")}.` : "";
    return make(
      "section",
      { class: "card" },
      make("h3", {}, `Tied back: ${machine ? stationName(machine) : one.machine}`),
      make("p", {}, `Since ${one.since}: ${one.why} Its work waits. It is not locked out by that.`),
      make("p", { class: "needs" }, first),
      one.ref
        ? closingPart(page, one.ref, one.machine, "It runs again")
        : make("p", {}, "Handed over by this phone. A fresh page lets it run again."),
    );
  });
}

function meterFields(page) {
  return page.round.meters.map((meter) => {
    const last = meter.last === null ? "" : `Last read ${meter.last} on ${meter.last_day}.`;
    const warning = make("p", { class: "hint", role: "status" });
    const check = (text) => {
      const { value } = parseTyped(text, { type: "number" });
      const back = value !== undefined && meter.last !== null && value < meter.last;
      setText(warning, back ? "Less than last time: misread, or was the meter replaced?" : "");
    };
    const typed = page.store.unsent.meters[meter.ident] ?? "";
    check(typed);
    const field = textField(
      meter.name,
      typed,
      (text) => {
        page.change((unsent) => {
          if (text.trim() === "") delete unsent.meters[meter.ident];
          else unsent.meters[meter.ident] = text;
        });
        check(text);
      },
      { numeric: true, hint: last, key: `meter ${meter.ident}` },
    );
    return make("div", {}, field, warning);
  });
}
