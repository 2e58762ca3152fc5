/* A visit as YAML 1.2, laid out as a person would type it.

Text that could be read as anything but itself stands in double quotes with JSON's escapes,
which YAML shares. What a site's files may not hold at all is taken out beforehand. */

/* Control characters, line separators, marks that reorder text, non-characters: a site's files
   refuse them even when escaped. */
const FORBIDDEN =
  /[\u0000-\u0008\u000b\u000c\u000e-\u001f\u007f-\u009f\u2028\u2029\u202a-\u202e\u2066-\u2069\ufeff\ufffe\uffff]/g;
const LONE_SURROGATE = /[\ud800-\udbff](?![\udc00-\udfff])|(?<![\ud800-\udbff])[\udc00-\udfff]/g;
const PLAIN = /^\p{L}(?:[\p{L}\p{N} _./()%+;~#-]*[\p{L}\p{N}.)%])?$/u;
/* Mail and messengers put these in and take them out. */
const NO_WIDTH = /[\u00ad\u200b\u2060\ufeff]/g;
const WORDS_OF_YAML = /^(?:null|true|false|yes|no|on|off|y|n)$/i;
const INSTANT = /^\d{4}-\d\d-\d\dT\d\d:\d\d$/;
const ENTRY_REFERENCE = /^\d{4}-\d\d-\d\dT\d{4}-[a-z0-9-]+(?:~\d+)?#\d+$/;

/* Text as a site's files may hold it: LF line ends, nothing forbidden, no spaces at the ends. */
function cleanText(text) {
  return text
    .replace(/\r\n?/g, "\n")
    .replace(LONE_SURROGATE, "\ufffd")
    .replace(FORBIDDEN, "")
    .trim();
}

function cleanLine(text) {
  return cleanText(text).replace(/\s*\n\s*/g, " ");
}

function yamlScalar(value) {
  if (typeof value !== "string") return String(value);
  if (INSTANT.test(value) || ENTRY_REFERENCE.test(value)) return value;
  const plain =
    PLAIN.test(value) && !WORDS_OF_YAML.test(value) && !value.includes(" #") && value.length < 200;
  return plain ? value : JSON.stringify(value);
}

function yamlFlow(value) {
  if (Array.isArray(value)) return `[${value.map(yamlFlow).join(", ")}]`;
  if (typeof value === "object") {
    const pairs = Object.entries(value).map(
      ([key, item]) => `${yamlScalar(key)}: ${yamlFlow(item)}`,
    );
    return `{${pairs.join(", ")}}`;
  }
  return yamlScalar(value);
}

/* The text of a visit. An entry stays on one line: what wraps lines on the way wraps within braces,
   where a line end means no more than a space. */
function visitYaml(visit) {
  const { entries, ...head } = visit;
  const pairs = Object.entries(head).map(([key, value]) => `${key}: ${yamlFlow(value)}`);
  const lines = [...pairs, "entries:", ...entries.map((entry) => `- ${yamlFlow(entry)}`)];
  return `${lines.join("\n")}\n# check ${checkDigits(visit)}\n`;
}

/* What the text of a visit says, in eight digits: the CRC-32 of its values as text, by which
   `ledger.filing.posted` knows what a mail or a messenger did to it. */
function checkDigits(visit) {
  let rest = ~0;
  for (const byte of new TextEncoder().encode(JSON.stringify(asText(visit)))) {
    rest ^= byte;
    for (let bit = 0; bit < 8; bit += 1) rest = (rest >>> 1) ^ (0xedb88320 & -(rest & 1));
  }
  return (~rest >>> 0).toString(16).padStart(8, "0");
}

function asText(value) {
  if (Array.isArray(value)) return value.map(asText);
  if (typeof value !== "object") {
    return String(value).replace(NO_WIDTH, "").trim().replace(/\s+/g, " ");
  }
  const pairs = Object.entries(value).map(([key, item]) => [key, asText(item)]);
  return Object.fromEntries(pairs.sort(([one], [other]) => (one < other ? -1 : 1)));
}
