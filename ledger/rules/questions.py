"""Every question that a foreman would ask, by its rule, with why it is asked."""

from collections.abc import Mapping

QUESTIONS: Mapping[str, str] = {
    "above-synchronous-speed": "An induction motor runs below its synchronous speed, so the "
    "nameplate was misread, and every speed predicted from it is wrong.",
    "automatic-start-not-stated": "People put their hands in where the line can start by itself. A "
    "lockout sheet can name what isolates that start only if site.yaml states it.",
    "beyond-drive-limits": "A setting beyond its drive's limits overheats the motor, or the drive "
    "cannot take it.",
    "closed-before-found": "Work cannot close a finding that did not exist yet; most often the "
    "wrong visit or day is named.",
    "contractor-without-permit": "Host and contractor tell each other how they lock out; the "
    "permit is where that is written down.",
    "correction-widens": "A correction replaces one entry. If it names more places, it adds work "
    "that nobody filed at the time.",
    "count-too-short": "A count over few turns has an uncertainty wider than the band, so it "
    "proves nothing about the speed.",
    "counts-nowhere": "What was filed selects no place on its day, so it is on no page and no due "
    "list.",
    "ends-before-start": "A period that ends before it begins holds no day, so it has no effect.",
    "energy-not-stated": "A lockout sheet can name only the energies in the machine's file. Nobody "
    "isolates one that is left out.",
    "entered-before-done": "Work cannot be written down before it was done; one of the two times "
    "is wrong.",
    "filed-twice": "One person has the same work at the same time in two visits; most often a file "
    "was copied.",
    "found-differs": "The drive was found at a setting other than the approved one, so somebody "
    "changed it and filed nothing.",
    "implausible-reading": "No machine of this kind reads such a number; most often digits were "
    "swapped or the unit is wrong.",
    "in-the-future": "A visit after today has not happened; most often the year or month is wrong.",
    "inspected-by-a-user": "A sheet is inspected by somebody who does not use it, since daily "
    "users no longer see what is missing.",
    "instrument-in-doubt": "The instrument was later found out of its limits, so what it read "
    "since its last good check may be wrong.",
    "instrument-overdue": "An instrument whose check is overdue may have drifted, and every "
    "reading depends on it.",
    "law-without-citation": "Work counts as required by law only if the task cites the paragraph, "
    "so that an auditor can look it up.",
    "left-differs": "The drive was left at a setting other than the approved one, so it runs at "
    "one that nobody agreed to.",
    "left-uncounted": "A drive was left at another setting and nobody counted what the brush does "
    "there.",
    "limits-reversed": "No value lies between a lower limit and a smaller upper limit, so every "
    "reading would be outside.",
    "line-tied-back": "The line does not run beside a conveyor or safety circuit that is out of "
    "action, and nobody may put off their tests by saying so.",
    "load-above-rating": "A bearing loaded beyond its rating has no rated life; most often one of "
    "the two was misread.",
    "long-before-service": "The visit is years before the site or the machine came; most often the "
    "year is wrong.",
    "meter-runs-back": "A counter that only counts up showed less than before. Every interval that "
    "uses it would be wrong.",
    "never-due": "The task's dates leave no day on which it falls due.",
    "no-setting": "The drive can be set, but nobody has agreed to a setting.",
    "no-speed": "The reading gives no speed: its time or its turns are zero.",
    "no-such-local-time": "On a day when the clocks change, this time does not exist, or it exists "
    "twice.",
    "not-in-service": "The place was out of service on that day.",
    "not-qualified": "Nobody of the visit has the qualification that the task asks for.",
    "periods-overlap": "Two periods of one machine overlap, so one day belongs to both.",
    "person-not-here": "The person had not yet joined the site, or had left, on that day.",
    "point-without-task": "No task selects the point, so nobody is ever asked to look at it.",
    "reading-missing": "The task asks for a reading that is not in the entry, so the work stays "
    "due.",
    "returned-by-who-worked": "Who did the work no longer sees the tool left in it; a second "
    "person looks it over.",
    "round-of-other-places": "A round speaks for the places it asked about. If the files name "
    "others now, pages would say that somebody saw what nobody was asked to look at.",
    "selects-nothing": "The task selects no place, so it never falls due anywhere.",
    "shared-address": "Git knows people by their address. Where two people share one, nobody can "
    "tell who filed or approved.",
    "shared-key": "A signing key that two people have proves neither of them.",
    "stale-evidence": "The readings that support the change are old, or were taken before "
    "something changed.",
    "stands-twice": "The same entry is twice in one visit, so the work would count twice.",
    "step-too-large": "A change in one large step gives no time to see what it does to cloth and "
    "vehicles.",
    "target-outside-band": "The setting is expected to put the shaft outside its band.",
    "tied-back-later": "A visit reports what has happened; most often the day of `since` is wrong.",
    "tied-back-twice": "A machine is back once every entry that ties it back is closed, so the "
    "second one keeps its work waiting.",
    "turns-wrong-way": "A brush that turns the other way throws water and dirt at the vehicle, and "
    "can catch it.",
    "unknown-rule": "The policy grades a rule that does not exist, so that line has no effect.",
    "which-point": "The machine has several such points, and the entry does not say which one was "
    "read.",
}
