/* The days that the page knows the due work of: it picks by its own date, and says what it cannot
know. Days are texts such as 2026-11-23. */

const DAY_MS = 86400000;

function daysBetween(first, last) {
  return Math.round((Date.parse(last) - Date.parse(first)) / DAY_MS);
}

/* The day of the walk: today; that on which a visit begun last night goes on; at most the last
   day, and at least the first, that the page knows. */
function dayOfWalk(payload, unsent, today) {
  const begun = unsent.begun.slice(0, 10);
  const isOfLastNight = holdsWork(unsent) && begun && daysBetween(begun, today) === 1;
  const day = isOfLastNight ? begun : today;
  const last = new Date(Date.parse(payload.as_of) + (payload.days - 1) * DAY_MS);
  const lastDay = last.toISOString().slice(0, 10);
  return [payload.as_of, [day, lastDay].sort()[0]].sort()[1];
}

/* The machines that this phone tied back in a visit it handed over, and the page does not know of. */
function tiedBackHere(payload, tied) {
  return tied
    .filter(({ machine, day }) =>
      day >= payload.as_of && !payload.tied_back.some((one) => one.machine === machine),
    )
    .map(({ machine, day, why }) => {
      const tasks = payload.due.filter((item) => item.machine === machine).map(({ task }) => task);
      return { ref: "", machine, since: day, why, tasks, first: [] };
    });
}

/* The walk of a day. `tied` are machines that a visit tied back, `done` is by work key the day on which this phone handed over that it was
   done: what is not known to be filed counts as done until it comes round again. */
function roundOn(payload, day, { done, tied }) {
  const resting = tiedBackHere(payload, tied);
  const later = daysBetween(payload.as_of, day);
  const isDue = (item, place) => {
    const last = done[workKey(item.task, place)];
    if (!last || last < payload.as_of) return !item.opens || item.opens <= day;
    const isBack = item.again_days > 0 && daysBetween(last, day) >= item.again_days;
    return isBack && !payload.closed_days.includes(day);
  };
  const due = payload.due.flatMap((item) => {
    if (item.waits && resting.some(({ machine }) => machine === item.machine)) return [];
    const places = item.places.filter((place) => isDue(item, place));
    if (places.length === 0) return [];
    if (later === 0 && places.length === item.places.length) return [item];
    const isLate = item.overdue_days > 0;
    return [
      {
        ...item,
        places,
        minutes: item.minutes && (item.minutes * places.length) / item.places.length,
        overdue_days: isLate ? item.overdue_days + later : 0,
        state: isLate ? `overdue by ${item.overdue_days + later} days` : stateOn(item, day),
      },
    ];
  });
  return { ...payload, day, due, tied_back: [...payload.tied_back, ...resting] };
}

function stateOn(item, day) {
  if (!item.closes || item.closes >= day) return "due";
  return `due since ${item.closes}, unless it was filed after this page was made`;
}

/* What the page cannot know on a day, in words; "" where it is of that day. */
function ageWords(payload, today) {
  const later = daysBetween(payload.as_of, today);
  if (later === 0) return "";
  const said = `Today is ${today}: this walk was made for ${payload.as_of}.`;
  if (later > 0 && later < payload.days) {
    return `${said} It knows what falls due today, but nothing that others filed since.`;
  }
  return `${said} Its due work is not today's. Counts and findings go on; fetch a fresh page.`;
}
