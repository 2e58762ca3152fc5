"""Every question that a foreman would ask, by its rule, with why it is asked."""

from collections.abc import Mapping

QUESTIONS: Mapping[str, str] = {
    "above-synchronous-speed": "An induction motor runs below its synchronous speed, so the "
    "nameplate was misread, and every speed predicted from it is wrong.",
    "automatic-start-not-stated": "Hands go in where the line can start by itself. A lockout sheet "
    "can name what isolates that start only if site.yaml does.",
    "beyond-drive-limits": "A setting beyond its drive's limits overheats the motor, or cannot be "
    "set at all.",
    "closed-before-found": "Work cannot end a finding that nobody had made yet; most often the "
    "wrong visit or day is named.",
    "correction-widens": "A correction takes the place of one entry. One that names more places "
    "adds work that nobody filed at the time.",
    "count-too-short": "A count over few turns has a doubt wider than the band, so it proves "
    "nothing of the speed.",
    "counts-nowhere": "What was written down selects no place on its day, so no page and no due "
    "list counts it.",
    "ends-before-start": "A period that ends before it begins holds no day, so it does nothing.",
    "energy-not-stated": "A lockout sheet can name only the energies that the machine's file "
    "states; one left out is one that nobody isolates.",
    "entered-before-done": "Work cannot be written down before it was done; one of the two times "
    "is wrong.",
    "filed-twice": "The same person did the same work at the same time twice; most often a file "
    "was copied.",
    "found-differs": "A drive that is found at another setting than the approved one was moved by "
    "somebody who wrote nothing.",
    "implausible-reading": "The number lies where no machine of its kind runs; most often digits "
    "were swapped or the unit is another.",
    "in-the-future": "A visit after today has not happened; most often the year or month is wrong.",
    "inspected-by-a-user": "A sheet is inspected by somebody who does not work by it, for who uses "
    "it daily no longer sees what is missing.",
    "instrument-in-doubt": "The instrument was found out of its limits later, so what it read "
    "since its last good check may be wrong.",
    "instrument-overdue": "An instrument past its check may have drifted, and every reading leans "
    "on it.",
    "law-without-citation": "Work counts as by law only with the paragraph that asks for it, so "
    "that an auditor can look it up.",
    "left-differs": "A drive that is left at another setting than the approved one runs at what "
    "nobody agreed to.",
    "left-uncounted": "A drive was left at another setting and nobody counted what the brush does "
    "there.",
    "limits-reversed": "A lower limit above the upper one holds no value, so every reading would "
    "lie outside.",
    "long-before-service": "The visit lies years before the site or the machine; most often the "
    "year is wrong.",
    "meter-runs-back": "A counter that only counts up showed less than before; every interval that "
    "counts by it would be wrong.",
    "never-due": "The task's dates leave no day on which it falls due.",
    "no-setting": "The drive can be set, and nobody has agreed to any setting of it.",
    "no-speed": "The reading gives no speed: a time of nothing, or turns that are none.",
    "no-such-local-time": "On the day the clocks change this time does not exist, or exists twice.",
    "not-in-service": "The place was out of service on that day.",
    "not-qualified": "Nobody of the visit has the qualification that the task asks for.",
    "periods-overlap": "Two periods of one machine overlap, so one day has two answers.",
    "person-not-here": "The person had not come yet, or had left, on that day.",
    "point-without-task": "No task selects the point, so nobody will ever be asked to look at it.",
    "reading-missing": "The task asks for a reading that the entry does not hold, so the work "
    "stays due.",
    "selects-nothing": "The task selects no place, so it never falls due anywhere.",
    "shared-address": "Git knows people by their address: with one for two, nobody can tell who "
    "filed or approved.",
    "shared-key": "A signing key held by two proves neither of them.",
    "stale-evidence": "The readings that the change leans on are old, or were taken before "
    "something changed.",
    "stands-twice": "The same entry stands twice in one visit, so the work would count twice.",
    "step-too-large": "A change in one large step gives no time to see what it does to cloth and "
    "vehicles.",
    "target-outside-band": "The setting is expected to put the shaft outside its band.",
    "turns-wrong-way": "A brush that turns the other way throws water and dirt at the vehicle, and "
    "can catch it.",
    "unknown-rule": "Policy grades a rule that there is not, so it grades nothing.",
    "which-point": "The machine has several such points, and the entry does not say which was "
    "read.",
}
