/* The round of a pass: one answer for all that is only looked at, and what was not in order.

The answer is one entry and stays one. It stands below what it speaks of, waits for two places drawn
by day and person, and can be taken back until the visit is sent. What is read, locked out, for
safety or law is no part of it. `unsent.rounds` holds {opened, except, drawn, claimed} by pass, with
times in milliseconds, and of each drawn place {ms, answer}. */

const PASSES = {
  "before-opening": "Before opening",
  running: "While the line runs",
  closed: "When the line is closed",
};
const PLACES_DRAWN = 2;
const LOOKED_AT = "looked at";
/* A second tap that comes so soon was meant for the first. */
const STEADY_MS = 350;

function emptyRound() {
  return { opened: 0, except: [], drawn: {}, claimed: 0 };
}

function roundSaid(unsent, when) {
  return unsent.rounds[when] ?? emptyRound();
}

/* What of a pass one answer may speak for, and is the person's to do. */
function roundItems(round, person, when) {
  return round.due.filter(
    (item) => item.in_round && item.when === when && lackingNeeds(item, person, round).length === 0,
  );
}

function keysOf(items) {
  return items.flatMap((item) => item.places.map((place) => workKey(item.task, place)));
}

/* A place that was answered alone, left out, or has a finding is no part of the answer. */
function isLeftOut(unsent, when, key) {
  const place = key.split(" ")[1];
  return (
    roundSaid(unsent, when).except.includes(key) ||
    Boolean(unsent.work[key]?.outcome) ||
    unsent.extras.some(
      (extra) =>
        extra.what === "finding" &&
        ((extra.point ? `${extra.machine}/${extra.point}` : extra.machine) === place ||
          (extra.tied && extra.machine === place.split("/")[0])),
    )
  );
}

/* Whether a place is answered by the round of its pass. */
function isClaimed(unsent, person, round, item, key) {
  return (
    item.in_round &&
    roundSaid(unsent, item.when).claimed > 0 &&
    lackingNeeds(item, person, round).length === 0 &&
    !isLeftOut(unsent, item.when, key)
  );
}

/* The places to be looked at first, of two machines where there are two; `drawn` of
   `ledger.upkeep.due.rounds` draws the same. */
function drawnKeys(round, person, when, keys) {
  // Where a question is asked, looking is more than a tick.
  const asking = new Set(
    keysOf(roundItems(round, person, when).filter((item) => item.asks)),
  );
  const rank = (key) =>
    `${asking.has(key) ? 0 : 1} ${checkDigits(`${round.day} ${person} ${when} ${key}`)}`;
  const ranked = [...keys].sort((one, other) => (rank(one) < rank(other) ? -1 : 1));
  const placeOf = (key) => key.split(" ")[1];
  const machineOf = (key) => placeOf(key).split("/")[0];
  const first = ranked[0];
  const second =
    ranked.find((key) => machineOf(key) !== machineOf(first)) ??
    ranked.find((key) => placeOf(key) !== placeOf(first));
  return [first, second].filter(Boolean).slice(0, PLACES_DRAWN);
}

/* The answers in an order that is another on other days, so that nobody learns where to press. */
function turned(answers, seed) {
  const first = parseInt(checkDigits(seed).slice(0, 2), 16) % answers.length;
  return [...answers.slice(first), ...answers.slice(0, first)];
}

function claimEntries(unsent, person, round) {
  return Object.keys(PASSES).flatMap((when) => {
    const said = roundSaid(unsent, when);
    const items = roundItems(round, person, when);
    const keys = keysOf(items);
    const left = keys.filter((key) => isLeftOut(unsent, when, key));
    if (!said.claimed || left.length === keys.length) return [];
    const tasks = [...new Set(items.map((item) => item.task))];
    const entry = {
      in_order: when,
      tasks,
      of: tasks.reduce((sum, task) => sum + round.asked[task].of, 0),
      list: checkDigits(tasks.map((task) => round.asked[task].list).join(" ")),
    };
    if (round.commit) entry.commit = round.commit;
    const tied = round.tied_back.filter((one) => one.tasks.some((task) => tasks.includes(task)));
    const out = [...left.map((key) => key.split(" ")[1]), ...tied.map((one) => one.machine)];
    if (out.length > 0) entry.except = [...new Set(out)];
    const looked = Object.entries(said.drawn).sort(([, one], [, other]) => one.ms - other.ms);
    entry.minutes = Math.max(0.1, Math.round((said.claimed - said.opened) / 6000) / 10);
    entry.drawn = looked.map(([key]) => key.split(" ")[1]);
    entry.seen = looked.map(([, { answer }]) => answer);
    entry.drawn_apart_s = Math.round((looked.at(-1)[1].ms - looked[0][1].ms) / 1000);
    return [entry];
  });
}

/* `openedAt()` is when the pass was first looked at. */
function roundCard(page, when, openedAt) {
  const { round, store } = page;
  const items = () => roundItems(round, store.person, when);
  const alter = (change) =>
    page.change((unsent) => {
      unsent.rounds[when] ??= emptyRound();
      unsent.rounds[when].opened ||= openedAt();
      change(unsent.rounds[when]);
    });
  const list = make("ul", {});
  const drawn = make("div", { class: "drawn" });
  const left = make("div", {});
  const picks = make("div", {});
  const state = make("p", { class: "whole", role: "status" });
  const claim = button("", () => say(), { class: "main" });
  const back = button("Take it back", () => takeBack());
  let shownFor = null;

  async function say() {
    const stated = items().reduce((sum, item) => sum + (item.minutes ?? 0), 0);
    const took = (Date.now() - (roundSaid(store.unsent, when).opened || openedAt())) / 60000;
    const words = `This was ${Math.max(1, Math.round(took))} min for about ${Math.round(stated)} min of looking. It is filed with the time it took.`;
    if (took < round.hurry_share * stated && !(await ask(words, "It is in order"))) return;
    alter((said) => {
      said.claimed = Date.now();
    });
    const next = card.closest(".pass").nextElementSibling;
    if (next?.matches(".pass")) next.open = true;
    back.focus();
  }

  function takeBack() {
    if (Date.now() - roundSaid(store.unsent, when).claimed < STEADY_MS) return;
    alter((said) => {
      said.claimed = 0;
    });
    claim.focus();
  }

  function leftRow(key) {
    const item = items().find((one) => keysOf([one]).includes(key));
    if (!item) return "";
    const place = key.split(" ")[1];
    const machine = round.machines.find((one) => one.ident === item.machine);
    const restore = () => {
      alter((said) => {
        said.except = said.except.filter((one) => one !== key);
      });
      page.change((unsent) => delete unsent.work[key]);
      row.remove();
    };
    const row = make(
      "section",
      { class: "item" },
      make("h4", {}, `${item.title}, ${placeName(round, place)}`),
      placeRow(page, machine, item, place).element,
      make(
        "div",
        { class: "buttons" },
        button("Finding", () => page.addFinding(machine.ident, place.split("/")[1])),
        button("In order after all", restore),
      ),
    );
    return row;
  }

  /* A drawn place with its question, or a tick where its task asks none. */
  function drawnPart(key) {
    const item = items().find((one) => keysOf([one]).includes(key));
    const place = key.split(" ")[1];
    const name = placeName(round, place);
    const answered = () => roundSaid(store.unsent, when).drawn[key]?.answer;
    const note = (answer) =>
      alter((said) => {
        if (answer) said.drawn[key] = { ms: Date.now(), answer };
        else delete said.drawn[key];
      });
    if (!item.asks) {
      return tickField(`${name}: ${item.title}`, Boolean(answered()), (seen) =>
        note(seen ? LOOKED_AT : ""),
      );
    }
    const press = (answer) => {
      const isNew = answer !== answered();
      note(answer);
      show();
      if (isNew && item.asks.wrong.includes(answer)) {
        const [machine, point] = place.split("/");
        page.addFinding(machine, point, answer);
      }
    };
    const buttons = turned([...item.asks.fine, ...item.asks.wrong], `${round.day} ${key}`).map(
      (answer) => button(answer, () => press(answer)),
    );
    const show = () => {
      for (const one of buttons) {
        one.setAttribute("aria-pressed", String(one.textContent === answered()));
      }
    };
    show();
    const words = `${name}: ${item.asks.question}`;
    return make(
      "div",
      { class: "question", role: "group", "aria-label": words },
      make("p", {}, words),
      make("div", { class: "buttons" }, ...buttons),
    );
  }

  /* What depends on who walks. */
  function build() {
    const keys = keysOf(items());
    shownFor = store.person;
    list.replaceChildren(
      ...[...new Set(items().map((item) => item.task))].map((task) => {
        const same = items().filter((item) => item.task === task);
        const where = same.map((item) => placesWords(round, item)).join("; ");
        return make("li", {}, `${same[0].title}: ${where}`);
      }),
    );
    drawn.replaceChildren(...drawnKeys(round, store.person, when, keys).map(drawnPart));
    const options = keys.map((key) => {
      const item = items().find((one) => keysOf([one]).includes(key));
      return [key, `${placeName(round, key.split(" ")[1])}: ${item.title}`];
    });
    const field = pickField("Not in order, or not looked at", [["", "All are"], ...options], "", (key) => {
      field.querySelector("select").value = "";
      if (!key || roundSaid(store.unsent, when).except.includes(key)) return;
      alter((said) => said.except.push(key));
      left.append(leftRow(key));
    });
    picks.replaceChildren(field);
    left.replaceChildren(...roundSaid(store.unsent, when).except.map(leftRow));
  }

  function update() {
    if (shownFor !== store.person) build();
    const keys = keysOf(items());
    const out = keys.filter((key) => isLeftOut(store.unsent, when, key)).length;
    const said = roundSaid(store.unsent, when);
    const seen = drawnKeys(round, store.person, when, keys).every((key) => key in said.drawn);
    setText(claim, out ? `All in order but ${out}` : "All in order");
    claim.disabled = !seen || !store.person || keys.length === 0;
    claim.hidden = said.claimed > 0;
    back.hidden = said.claimed === 0;
    setText(
      state,
      said.claimed
        ? `Said: ${keys.length - out} of ${keys.length} in order, by the round.`
        : `${keys.length} places, one answer. First look at the two that were drawn:`,
    );
  }

  store.listenAsPart(update);
  update();
  const card = make(
    "section",
    { class: "card", "data-key": `round ${when}` },
    make("h4", {}, "The daily round"),
    fold("What is in it", {}, list),
    picks,
    left,
    state,
    drawn,
    make("div", { class: "buttons" }, claim, back),
  );
  return card;
}

function placesWords(round, item) {
  const machine = round.machines.find((one) => one.ident === item.machine);
  const names = item.places.map((place) => place.split("/")[1]).filter(Boolean);
  const points = names.map((name) => machine.points.find((one) => one.ident === name)?.name ?? name);
  return `${machine.station} ${machine.name}${points.length ? ` (${points.join(", ")})` : ""}`;
}
