/* The tuning session in the form of a speed: set, count again, until nothing more is to be set.

A draft's `steps` are the counts kept so far, each as the visit's file will hold it, and `set` is
the setting that the drive was put to since, where the next count belongs. */

function stepsOf(draft) {
  return draft.steps ?? [];
}

/* The setting that the reading now in the form was taken at: what the drive was put to, or what it
   was found at; undefined where neither is known. */
function countedAt(draft, stem) {
  if (stepsOf(draft).length > 0) return draft.set ?? undefined;
  return parseTyped(draft.typed[`setting.found_${stem}`] ?? "", { type: "number" }).value;
}

/* The steps with the reading now in the form, as far as it is one. */
function wholeSession(draft, stem, fields) {
  const { speed, problems } = draftReadings(readingAlone(draft), fields, "si");
  const at = countedAt(draft, stem);
  const { line_rate_per_h: _, ...reading } = speed;
  const isRead = Object.keys(reading).length > 0 && problems.length === 0 && at !== undefined;
  return { steps: isRead ? [...stepsOf(draft), { [stem]: at, ...reading }] : stepsOf(draft), isRead };
}

/* What a session says under the reading; `options` are {page, machine, draft, change, rebuild,
   again, aim, key}, with `aim` giving {band, target} and `again()` asking for the next count. Returns
   {element, update}. */
function tuningPart({ page, machine, draft, change, rebuild, again, aim, key }) {
  const { fields, round } = page;
  const drive = machine.tuning;
  const stem = SETTING_STEMS[machine.setting_unit];
  const advice = make("p", { class: "advice", role: "status" });
  const body = make("div", {});
  const steps = fold("Tune this drive", {}, body);
  const element = make("div", { "data-key": `${key} tuning` }, advice, steps);
  let offered = null;
  let builtFor = "";

  function clearReading(altered) {
    altered.taps = [];
    for (const name of Object.keys(altered.typed)) {
      if (name.startsWith("speed.")) delete altered.typed[name];
    }
  }

  function setTo(value) {
    change((altered) => {
      altered.steps = wholeSession(altered, stem, fields).steps;
      altered.set = value;
      delete altered.typed[`setting.left_${stem}`];
      clearReading(altered);
    });
    rebuild();
    again();
  }

  /* The reading in the form first, then the counts kept before it, the newest first. */
  function takeBack() {
    change((altered) => {
      if (!wholeSession(altered, stem, fields).isRead) {
        const { [stem]: set } = altered.steps[altered.steps.length - 1];
        altered.steps = altered.steps.slice(0, -1);
        altered.set = altered.steps.length > 0 ? set : null;
      }
      clearReading(altered);
    });
    rebuild();
  }

  function update() {
    const { steps: all, isRead } = wholeSession(draft(), stem, fields);
    const goal = aim();
    const { speed } = draftSpeed(draft(), fields, round.timing_u_s);
    element.hidden = !goal || (all.length === 0 && !speed);
    if (element.hidden) return;
    steps.hidden = all.length === 0;
    if (steps.hidden) {
      setText(advice, "To tune it, say what the drive was found at.");
      return;
    }
    const counts = sessionCounts(all, stem, round.timing_u_s);
    const said = adviceAfter(drive, goal.band, goal.target, counts);
    const waits = !isRead && draft().set !== null && draft().set !== undefined;
    setText(
      advice,
      waits ? `Now count at ${draft().set} ${drive.unit}, before the next vehicle.` : said.words,
    );
    const last = counts[counts.length - 1].setting;
    const shape = JSON.stringify([all, waits, draft().set, draft().keypad]);
    if (shape === builtFor) return;
    builtFor = shape;
    offered = said.setting ?? last;
    if (stepsOf(draft()).length > 0 || said.kind === "next") steps.open = true;
    body.replaceChildren(
      counted(counts, goal.band),
      practice(),
      waits ? "" : chooser(last),
      draft().steps?.length ? button("Take back the last count", takeBack) : "",
      ...ending(last, waits),
    );
  }

  function counted(counts, band) {
    const rows = counts.map(({ setting, speed }) =>
      make(
        "tr",
        {},
        make("td", {}, `${setting} ${drive.unit}`),
        make("td", {}, `${shownSpeed(speed)} r/min`),
        make("td", {}, verdictOf(speed, band)),
      ),
    );
    return make("table", { class: "steps" }, make("caption", {}, "Counted"), ...rows);
  }

  function practice() {
    return make("ul", { class: "hint" }, ...drive.practice.map((line) => make("li", {}, line)));
  }

  function chooser(last) {
    const value = make("output", {}, "");
    const go = button("", () => setTo(offered), { class: "main" });
    const put = () => {
      setText(value, `${offered} ${drive.unit}`);
      setText(go, `It is set to ${offered} ${drive.unit}: count again`);
      go.disabled = offered === last;
    };
    const move = (steps) => () => {
      offered = insideDrive(offered + steps * drive.step, drive);
      put();
    };
    put();
    const approved = machine.approved?.value;
    return make(
      "div",
      { class: "set" },
      make(
        "div",
        { class: "move" },
        button("−", move(-1), { "aria-label": "One step less" }),
        value,
        button("+", move(1), { "aria-label": "One step more" }),
      ),
      go,
      approved === undefined || approved === last
        ? ""
        : button(`Put back to ${approved} ${drive.unit}: count again`, () => setTo(approved)),
    );
  }

  function ending(last, waits) {
    if (stepsOf(draft()).length === 0) return [];
    const left = waits ? draft().set : last;
    const isApproved = machine.approved && left === machine.approved.value;
    const words = isApproved
      ? `Left at ${left} ${drive.unit}, as approved.`
      : `Left at ${left} ${drive.unit}, which nobody has approved: propose it once the visit is filed.`;
    const locks = [
      ["", "Not said"],
      ["locked", "Locked again"],
      ["unlocked", "Not locked"],
    ];
    const pick = (keypad) =>
      change((altered) => {
        altered.keypad = keypad;
      });
    return [
      make("p", {}, words),
      drive.keypad ? choiceField("Keypad", locks, draft().keypad ?? "", pick, { key: `${key} keypad` }) : "",
    ];
  }

  return { element, update };
}

/* The commands that propose what the visit leaves its drives at, where nobody has approved it. */
function proposals(visit, round, name) {
  return visit.entries.flatMap((entry, index) => {
    const machine = round.machines.find((one) => one.ident === String(entry.at).split("/")[0]);
    const stem = SETTING_STEMS[machine?.setting_unit];
    if (!stem) return [];
    const left = entry[`left_${stem}`] ?? entry.steps?.[entry.steps.length - 1][stem];
    if (left === undefined || left === machine.approved?.value) return [];
    const option = `--${stem.replace("_", "-")} ${left}`;
    const evidence = `'${name.replace(/\.yaml$/, "")}#${index + 1}'`;
    return [`tunnelbook propose ${machine.ident} ${option} --evidence ${evidence} --why 'Tuned and counted.'`];
  });
}
