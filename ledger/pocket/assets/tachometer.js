/* The tap tachometer: one tap each time the marked strip goes by.

Taps are taken from the event's own time stamp, not from when the page came round to it, and are
kept to the millisecond from the first tap on: the very numbers that the visit will hold, so the
page and the ledger compute from the same. */

const MOST_TAPS_KEPT = 500;
const LONGEST_ROW_S = 3600;
/* Without a band there is no verdict to wait for: one part in a hundred is plenty. */
const ENOUGH_RELATIVE = 0.01;

/* Open the view. `options` are {key, title, band, bandWords, passesPerTurn, ways, whenUsed}; `ways` are
   the buttons that use the row, each [words, function], which gets the times and the passes per turn.
   The store keeps a row that is neither used nor reset, so that
   neither closing the view nor a phone that dies loses it; `first` is the instant of its first tap
   in milliseconds. */
function openTachometer(store, options) {
  const { passesPerTurn } = options;
  const row = store.unsent.rows[options.key] ?? { times: [], first: null, passesPerTurn };
  const letSleep = keepAwake();
  const view = tachometerView();
  const ways = options.ways.map(([words, use]) =>
    button(words, () => {
      use([...row.times], row.passesPerTurn);
      store.keepRow(options.key, null);
      close();
      options.whenUsed?.();
    }, { class: "main" }),
  );
  const dialog = make(
    "dialog",
    { class: "tachometer", "aria-labelledby": "tachometer-title" },
    make("h2", { id: "tachometer-title" }, `Tap tachometer: ${options.title}`),
    make("p", {}, make("strong", {}, "Stay outside the guards.")),
    make(
      "p",
      { class: "how" },
      "Watch one marked strip and tap each time it comes by. The space bar taps too.",
    ),
    view.speed,
    make("p", { class: "hint" }, options.bandWords),
    view.verdict,
    view.repairs,
    view.tap,
    passesField(row, update),
    make(
      "div",
      { class: "buttons" },
      ...ways,
      button("Undo last tap", undo),
      button("Reset", reset),
      button("Back", close),
    ),
  );

  function tap(timeStamp) {
    if (row.times.length >= MOST_TAPS_KEPT) return;
    const instant = performance.timeOrigin + timeStamp;
    row.first ??= instant;
    const time = Math.round(instant - row.first) / 1000;
    // The same press reported twice within a millisecond is no second pass.
    if (row.times.length > 0 && time <= row.times[row.times.length - 1]) return;
    if (time > LONGEST_ROW_S) return;
    row.times.push(time);
    update();
  }

  function undo() {
    row.times.pop();
    if (row.times.length === 0) row.first = null;
    update();
    view.tap.focus();
  }

  function reset() {
    row.times = [];
    row.first = null;
    update();
    view.tap.focus();
  }

  function close() {
    letSleep();
    dialog.close();
    dialog.remove();
    store.tell();
  }

  function update() {
    store.keepRow(options.key, row.times.length > 0 ? row : null);
    const state = tachometerState(row.times, row.passesPerTurn, options.band);
    setText(view.speed, state.speed);
    setText(view.verdict, state.verdict);
    setText(view.repairs, state.repairs);
    for (const way of ways) way.disabled = !state.usable;
    // Whoever watches the brush feels that it has seen enough.
    if (state.enough && !dialog.classList.contains("enough")) navigator.vibrate?.(200);
    dialog.classList.toggle("enough", state.enough);
  }

  view.tap.addEventListener("pointerdown", (event) => {
    if (event.button !== 0) return;
    event.preventDefault();
    view.tap.focus();
    tap(event.timeStamp);
  });
  // A screen reader presses without pointer or key, and is known by a click of detail nought.
  view.tap.addEventListener("click", (event) => {
    if (event.detail === 0) tap(event.timeStamp);
  });
  const isTapKey = (event) =>
    event.key === " " && (event.target === view.tap || !event.target.closest("button, select"));
  dialog.addEventListener("keydown", (event) => {
    if (!isTapKey(event)) return;
    event.preventDefault();
    if (!event.repeat) tap(event.timeStamp);
  });
  dialog.addEventListener("keyup", (event) => {
    if (isTapKey(event)) event.preventDefault();
  });
  dialog.addEventListener("cancel", (event) => {
    event.preventDefault();
    close();
  });
  document.body.append(dialog);
  dialog.showModal();
  view.tap.focus();
  update();
}

/* Keeps the screen lit where the phone lets a page; gives what ends it. */
function keepAwake() {
  let lock = null;
  let over = false;
  const ask = async () => {
    try {
      lock = await navigator.wakeLock?.request("screen");
    } catch {
      // Refused to save the battery, or while the page is hidden: tapping works without it.
    }
    if (over) lock?.release();
  };
  // A phone takes the lock away with the page out of sight.
  document.addEventListener("visibilitychange", ask);
  ask();
  return () => {
    over = true;
    document.removeEventListener("visibilitychange", ask);
    lock?.release();
  };
}

function tachometerView() {
  return {
    speed: make("p", { class: "speed" }),
    verdict: make("p", { class: "verdict", role: "status" }),
    repairs: make("p", { class: "repairs" }),
    tap: make("button", { type: "button", class: "tap" }, "Tap"),
  };
}

function passesField(row, update) {
  const options = [1, 2, 3, 4, 5, 6, 8, 10, 12].map((n) => [String(n), String(n)]);
  return pickField(
    "Passes per turn (marked strips)",
    options,
    String(row.passesPerTurn),
    (value) => {
      row.passesPerTurn = Number(value);
      update();
    },
  );
}

/* What the view says of a row of taps: {speed, verdict, repairs, usable, enough}. */
function tachometerState(times, passesPerTurn, band) {
  const waiting = {
    speed: "– r/min",
    repairs: times.length === 1 ? "1 tap" : `${times.length} taps`,
    usable: false,
    enough: false,
  };
  if (times.length < LEAST_TAPS) {
    return { ...waiting, verdict: `Tap at least ${LEAST_TAPS} passes.` };
  }
  let tapped;
  try {
    tapped = speedFromTaps(times, { passesPerTurn });
  } catch (error) {
    if (!(error instanceof SpeedError)) throw error;
    return {
      ...waiting,
      verdict: `No speed yet: ${error.message}. Undo takes back the last tap, Reset all of them.`,
    };
  }
  const { verdict, enough } = tapped.ownBeat
    ? { verdict: `${OWN_BEAT[0].toUpperCase()}${OWN_BEAT.slice(1)}.`, enough: false }
    : band
      ? tappedVerdict(tapped, band, passesPerTurn)
      : tappedPrecision(tapped);
  return {
    speed: `${shownSpeed(tapped.speed)} r/min`,
    verdict,
    repairs: [
      `${tapped.kept} taps used, ${tapped.missed} missed, ${tapped.doubled} doubled`,
      tapped.ownBeat ? "" : tapped.doubt,
    ]
      .filter(Boolean)
      .join("; "),
    usable: true,
    enough,
  };
}

function tappedVerdict(tapped, band, passesPerTurn) {
  const verdict = verdictOf(tapped.speed, band);
  const chance = shownProbability(pInBand(tapped.speed, band));
  const words = `${verdict[0].toUpperCase()}${verdict.slice(1)} (chance of being in band ${chance}).`;
  if (verdict !== "cannot tell") {
    if (tapped.kept >= FEWEST_TAPS_TO_STOP)
      return { verdict: `${words} Enough taps.`, enough: true };
    return { verdict: `${words} Tap on, to ${FEWEST_TAPS_TO_STOP} at least.`, enough: false };
  }
  const wanted = tapsToDecide(tapped, band, passesPerTurn);
  if (wanted === null) {
    const limit = "Too close to a limit for tapping to tell.";
    return { verdict: `${words} ${limit}`, enough: tapped.kept >= FEWEST_TAPS_TO_STOP };
  }
  return { verdict: `${words} Tap on: about ${wanted} taps in all would tell.`, enough: false };
}

function tappedPrecision(tapped) {
  const relative = expandedOf(tapped.speed) / tapped.speed.rpm;
  const enough = tapped.kept >= FEWEST_TAPS_TO_STOP && relative <= ENOUGH_RELATIVE;
  return { verdict: enough ? "Enough taps." : "Tap on.", enough };
}
