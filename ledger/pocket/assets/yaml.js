/* A visit as YAML 1.2, laid out as a person would type it.

Text that could be read as anything but itself stands in double quotes with JSON's escapes,
which YAML shares. What a site's files may not hold at all is taken out beforehand. */

/* Control characters, line separators, marks that reorder text, non-characters: a site's files
   refuse them even when escaped. */
const FORBIDDEN =
  /[\u0000-\u0008\u000b\u000c\u000e-\u001f\u007f-\u009f\u2028\u2029\u202a-\u202e\u2066-\u2069\ufeff\ufffe\uffff]/g;
const LONE_SURROGATE = /[\ud800-\udbff](?![\udc00-\udfff])|(?<![\ud800-\udbff])[\udc00-\udfff]/g;
const PLAIN = /^\p{L}(?:[\p{L}\p{N} _./()%+;'~#-]*[\p{L}\p{N}.)%])?$/u;
const WORDS_OF_YAML = /^(?:null|true|false|yes|no|on|off|y|n)$/i;
const INSTANT = /^\d{4}-\d\d-\d\dT\d\d:\d\d$/;
const ENTRY_REFERENCE = /^\d{4}-\d\d-\d\dT\d{4}-[a-z0-9-]+(?:~\d+)?#\d+$/;
const LONGEST_LINE = 100;

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

/* The pairs of a mapping, one a line. */
function yamlLines(mapping, indent) {
  return Object.entries(mapping).map(
    ([key, value]) => `${indent}${yamlScalar(key)}: ${yamlFlow(value)}`,
  );
}

/* The text of a visit: short entries on a line of their own, long ones one pair a line. */
function visitYaml(visit) {
  const { entries, ...head } = visit;
  const lines = [...yamlLines(head, ""), "entries:"];
  for (const entry of entries) {
    const line = `  - ${yamlFlow(entry)}`;
    if (line.length <= LONGEST_LINE) lines.push(line);
    else {
      const pairs = yamlLines(entry, "    ");
      lines.push(`  - ${pairs[0].trimStart()}`, ...pairs.slice(1));
    }
  }
  return `${lines.join("\n")}\n`;
}
