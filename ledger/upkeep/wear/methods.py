"""The methods behind the numbers of wear, in words that a reader understands."""

from ledger.book.method import NO_SOURCE, Method
from ledger.compute.trend import MIN_TREND
from ledger.upkeep.drift.words import RULE_READ_TO_IN, RULE_READ_TO_MM

WEAR = (
    Method(
        title="Nozzle",
        says=(
            "The caught flow, converted to the rated pressure, as a share of a new nozzle's flow. "
            "90 to 110 % is sound; more is worn, less is clogged. Catches of one nozzle in one "
            "visit are averaged; they share the gauge, and catches that read alike count once. "
            "Where they do not agree the last counts alone, as after cleaning. Unless an "
            "instrument's file "
            "says otherwise, the jug is assumed to have marks every 20 mL and to be read to half "
            "of that, the gauge to be read to 1 %, and the watch to 0.10 s."
        ),
        formula="q = (V/t) √(p_rated/p)/Q_new",
        sources=("JCGM 100:2008, 5.1.6", "JCGM 106:2012, clause 8"),
        lacking="Without a rated flow and pressure in the file there is no verdict.",
        code=("wear.nozzle_state", "wear.average_hides"),
    ),
    Method(
        title="Chain",
        says="How much longer a number of pitches is than when new, in percent.",
        formula="100 (L - n P)/(n P) %",
        sources=("chain makers' maintenance pages", "JCGM 106:2012, clause 8"),
        lacking="Without the pitch in the file there is no elongation.",
        code=("wear.chain_wear", "wear.chain_limit_percent"),
    ),
    Method(
        title="Belt",
        says=(
            "Pushed in the middle, a belt should give 1/64 of its span under a force between the "
            "maker's normal and half as much again. Its limits are shown as finely as a rule is "
            f"read, to {RULE_READ_TO_IN} in or {RULE_READ_TO_MM} mm; the verdict and the dates use "
            "the exact values."
        ),
        formula="deflection = span/64",
        sources=("TM 5-4310-339-15, 5-5.1",),
        lacking="Without the span in the file there is no limit.",
        code=("wear.belt_deflection_mm", "wear.belt_verdict"),
    ),
    Method(
        title="Damper",
        says="How often the arm bounces after it is let go.",
        formula="bounces against those allowed",
        sources=(NO_SOURCE,),
        lacking="Dampers that were never checked are listed.",
        code=("wear.damper_verdict",),
    ),
    Method(
        title="Cloth, and the day it is worn",
        says=(
            "Strips wear by vehicles washed, not by days. The rate of wear is the slope of the "
            "line through the measurements. The vehicles washed lately, by the meter, turn it "
            "into a date."
        ),
        formula="length = a - b × vehicles, weighted least squares",
        sources=("JCGM 100:2008, H.3",),
        lacking=f"Needs {MIN_TREND} measurements at different counts of vehicles.",
        code=("wear.strip_verdict", "trend.strip_forecast", "meter.meter_log", "meter.total_on"),
    ),
)
