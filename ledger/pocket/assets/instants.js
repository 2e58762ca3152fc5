/* The site's local time, wherever the phone believes it is. */

/* Date and time to the minute in an IANA zone: 2026-11-23T06:40. Throws RangeError where the
   phone does not know the zone. */
function localMinute(instant, zone) {
  const parts = new Intl.DateTimeFormat("en-CA", {
    timeZone: zone,
    calendar: "gregory",
    numberingSystem: "latn",
    hourCycle: "h23",
    year: "numeric",
    month: "2-digit",
    day: "2-digit",
    hour: "2-digit",
    minute: "2-digit",
  }).formatToParts(instant);
  const part = Object.fromEntries(parts.map(({ type, value }) => [type, value]));
  return `${part.year}-${part.month}-${part.day}T${part.hour}:${part.minute}`;
}

/* Now at the site; by the phone's own zone where it does not know the site's. */
function siteNow(zone) {
  try {
    return localMinute(new Date(), zone);
  } catch (error) {
    if (error instanceof RangeError) return localMinute(new Date(), undefined);
    throw error;
  }
}

function knowsZone(zone) {
  try {
    return Boolean(localMinute(new Date(), zone));
  } catch (error) {
    if (error instanceof RangeError) return false;
    throw error;
  }
}

/* Where a visit belongs in the site repo. */
function visitFile(at, by) {
  return {
    folder: `observations/${at.slice(0, 4)}/${at.slice(5, 7)}/`,
    name: `${at.slice(0, 13)}${at.slice(14, 16)}-${by}.yaml`,
  };
}
