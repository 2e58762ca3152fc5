"""However the page is filled in, what it hands over is a visit that the ledger takes.

A person of chance ticks, types and picks in the real forms of the example site's day, then follows
each open question to its field and answers it there. The files all go into a copy of that site.
"""

import json
import random
import re
from datetime import date
from pathlib import Path

from sound_site import Files, ledger_in, texts_below

from ledger.files.paths import discover
from ledger.files.reading import parse_document
from ledger.pocket.fill import round_of
from ledger.pocket.page import render
from ledger.site.pipeline import check, load
from ledger.upkeep.due.found import Schedule

EXAMPLE = Path(__file__).parents[2] / "example_site"
DAY = date(2026, 11, 25)
FILLINGS = 8

NUMBERS = ["", "0", "1", "5", "12", "38", "30", "44,5", "3.25", " 7. ", "400", "99999", "-3", "ten"]
TEXTS = [
    "Worn",
    "- dash first",
    "# not a comment",
    "no",
    "12:30",
    "a: b #c",
    "\"quoted\" and 'quoted'",
    "{a: [b]}",
    "2026-11-23",
    "~",
    "1e5",
    "emoji 🧽 – ½ Grüße",
    "שלום 洗車",
    "back\\slash \\n",
    "tab\there",
    "@at `tick` %per &and *star !bang |bar >fold",
    "</script><b>bold</b>",
    "x" * 480,
]
LONG_TEXTS = [*TEXTS, "first\nsecond\n\n- third: x", "trailing \n  indented\n"]

FILL = """([seed, share, numbers, texts, longTexts]) => {
  let state = seed;
  const chance = () => {
    state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
    return state / 2 ** 32;
  };
  const one = (list) => list[Math.floor(chance() * list.length)];
  const say = (element, value, kind) => {
    element.value = value;
    element.dispatchEvent(new Event(kind, {bubbles: true}));
  };
  const main = document.querySelector("main");
  const press = (words) =>
    [...main.querySelectorAll("button")].find((b) => b.textContent === words).click();
  const person = main.querySelector("[data-key=person] select");
  say(person, one([...person.options].slice(1)).value, "change");
  while (chance() < 0.7) press("New finding");
  while (chance() < 0.7) press("New reading");
  for (let pass = 0; pass < 3; pass += 1) {
    for (const element of main.querySelectorAll("input, select, textarea, button.not-done")) {
      const extra = element.closest("#findings, #readings, #visit");
      if (!element.isConnected || element.id === "begun" || element.closest("[data-key=person]"))
        continue;
      if (chance() > (extra ? 0.5 : share)) continue;
      if (element.tagName === "SELECT") {
        say(element, one([...element.options]).value, "change");
      } else if (element.matches("[type=checkbox], [type=radio], button")) {
        element.click();
      } else if (element.inputMode === "decimal") {
        say(element, one(numbers), "input");
      } else {
        say(element, one(element.tagName === "TEXTAREA" ? longTexts : texts), "input");
      }
    }
  }
  const bar = main.querySelector(".bar select");
  say(bar, "", "change");
}"""

# Follows each question that keeps the visit from being sent, and answers where it leads.
MEND = """(most) => {
  const followed = [];
  const download = () =>
    [...document.querySelectorAll("#visit button")].find((b) => b.textContent === "Download");
  while (download().disabled) {
    document.querySelector("nav button:last-child").click();
    const question = document.querySelector("#visit > .problems button");
    followed.push(question.textContent);
    if (followed.length > most) break;
    question.click();
    let field = document.activeElement;
    // Taps take their time: the person of chance counts instead.
    if (field.textContent === "Open the tap tachometer") {
      field = field.closest("fieldset").querySelector("select");
    }
    if (!field.matches("input, select, textarea")) break;
    if (field.type === "checkbox") field.click();
    else if (field.type === "radio") [...document.getElementsByName(field.name)].at(-1).click();
    else {
      const isPick = field.tagName === "SELECT";
      field.value = isPick ? field.options[1].value : field.inputMode === "decimal" ? "12" : "Said";
      field.dispatchEvent(new Event(isPick ? "change" : "input", {bubbles: true}));
    }
  }
  return [download().disabled, followed];
}"""


def texts_of_example():
    texts = texts_below(EXAMPLE)
    return {path: text for path, text in texts.items() if not path.startswith("book/")}


def with_taps(kept, chance):
    """The unsent work with rows of taps in a few of its speeds, as the tachometer leaves them."""
    for line in [*kept["work"].values(), *kept["extras"]]:
        draft = line.get("draft")
        if draft and draft["method"] == "taps" and chance.random() < 0.5:
            count = chance.choice([5, 12, 60])
            draft["taps"] = [round(0.75 * k + chance.uniform(0, 0.05), 3) for k in range(count)]
            draft["passesPerTurn"] = chance.choice([1, 2, 12])
            if "outcome" in line and not line["outcome"]:
                line["outcome"] = "done"
    return kept


def said_in(kept):
    """Every text that was typed and belongs to the visit, without the space around and in it."""
    said = [kept["note"]]
    said += [closing["note"] for closing in kept["closes"].values()]
    for line in kept["work"].values():
        if line["outcome"]:
            said.append(line["note"])
        if line["outcome"] == "not-done":
            said.append(line["reason"])
    for extra in kept["extras"]:
        said += [extra.get("text", ""), extra["note"]]
    return {squeezed(text) for text in said if text.strip()}


def squeezed(text):
    return re.sub(r"\s+", "", text)


def texts_in(visit):
    texts = [visit.get("note", "")]
    for entry in visit["entries"]:
        texts += [entry.get(name, "") for name in ("note", "reason", "finding")]
    return {squeezed(text) for text in texts}


def test_every_way_to_fill_it_in_gives_a_visit_the_ledger_takes(browser, tmp_path):
    site = texts_of_example()
    ledger = ledger_in(site)
    walk = round_of(ledger, Schedule(ledger, DAY).all_due(), DAY)
    file = tmp_path / "round.html"
    file.write_text(render(walk), encoding="utf-8")
    context = browser.new_context()
    page = context.new_page()
    complaints = []
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.goto(file.as_uri())
    place = f"round {walk.site} work"
    handed = {}
    for number in range(FILLINGS):
        chance = random.Random(number)
        share = chance.choice([0.01, 0.05, 0.12])
        page.evaluate("() => { localStorage.clear(); sessionStorage.clear(); }")
        page.reload()
        page.evaluate(FILL, [number, share, NUMBERS, TEXTS, LONG_TEXTS])
        kept = json.loads(page.evaluate("(place) => localStorage.getItem(place)", place))
        kept["begun"] = f"2026-11-25T{6 + number // 60:02d}:{number % 60:02d}"
        kept = with_taps(kept, chance)
        page.evaluate(
            "([place, text]) => localStorage.setItem(place, text)", [place, json.dumps(kept)]
        )
        page.reload()
        still_open, followed = page.evaluate(MEND, 400)
        assert not still_open, (number, followed[-3:])
        kept = json.loads(page.evaluate("(place) => localStorage.getItem(place)", place))
        page.get_by_role("navigation").get_by_role("button", name=re.compile("^Visit")).click()
        with page.expect_download() as waiting:
            page.get_by_role("button", name="Download").click()
        folder = re.search(r"observations/\S+/", page.locator(".where").inner_text()).group()
        path = folder + waiting.value.suggested_filename
        handed[path] = waiting.value.path().read_bytes().decode("utf-8")
        (source,) = discover([path]).sources
        document, faults = parse_document(source, handed[path].encode("utf-8"))
        assert faults == (), number
        assert said_in(kept) <= texts_in(document.value), number
    context.close()
    assert complaints == []
    assert len(handed) == FILLINGS
    found = check(load(Files({**site, **handed})), DAY)
    assert [one for one in found if one.is_error] == []
