"""A machine out of action, on the phone: tied back with a finding, left out of rounds, let run."""

import dataclasses

from pocket.test_round import choose_person, download, go_to
from pocket.test_rounds import Taps, look_and_say, pass_of, with_rounds

from ledger.pocket.payload import TiedBack

REF = "2026-11-20T0655-k-yelloway#3"


def test_a_finding_ties_its_machine_back_and_the_round_leaves_it_out(open_round, walk):
    it = open_round(with_rounds(walk))
    page = it.page
    choose_person(page)
    go_to(page, "Findings")
    page.get_by_role("button", name="New finding").click()
    page.get_by_label("Machine").select_option("arch-3")
    page.get_by_label("Point").select_option("p1")
    page.get_by_label("What is wrong").fill("Arch bent")
    page.get_by_label("Tied back").check()
    go_to(page, "Walk")
    look_and_say(Taps(page), pass_of(page, "Before opening"))
    claim, finding, tied = download(it)["entries"]
    assert claim["except"] == ["arch-3/p0", "arch-3/p1", "arch-3/p2"]
    assert (finding["finding"], finding["at"]) == ("Arch bent", "arch-3/p1")
    assert tied == {"tied_back": "Arch bent", "at": "arch-3"}


def test_what_is_tied_back_is_shown_left_out_and_let_run_again(open_round, walk):
    rounds = with_rounds(walk)
    tied = TiedBack(
        ref=REF,
        machine="arch-3",
        since="2026-11-20 06:55",
        why="Arch bent.",
        tasks=("look-at-cloth",),
        first=("Check the guards",),
    )
    due = tuple(item for item in rounds.due if item.machine != "arch-3")
    it = open_round(dataclasses.replace(rounds, due=due, tied_back=(tied,)))
    page = it.page
    choose_person(page)
    card = page.locator("#walk .card", has_text="Tied back: 203 · Arch 3")
    assert "Since 2026-11-20 06:55: Arch bent. Its work waits." in card.inner_text()
    assert "Before it runs again: Check the guards." in card.inner_text()
    look_and_say(Taps(page), pass_of(page, "Before opening"))
    card.get_by_label("It runs again").check()
    card.get_by_label("How", exact=True).fill("Straightened.")
    claim, back = download(it)["entries"]
    assert claim["except"] == ["arch-3"]
    assert back == {"closes": REF, "at": "arch-3", "note": "Straightened."}
