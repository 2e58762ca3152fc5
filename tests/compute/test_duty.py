"""Pumps, worn cloth and energy, held to worked examples.

Unless the id names another source, they are computed apart from this program of the formulas as
their sources print them.
"""

import pytest
import statsmodels.api as sm
from hypothesis import given
from hypothesis import strategies as st

from ledger.compute import figures as duty
from ledger.compute.line import edge_speed_m_s
from ledger.compute.numbers import NotEnoughData, convert
from ledger.compute.wear import flow_at_pressure

ARCH_GPM = 12 * flow_at_pressure(1.0, from_pressure=40, to_pressure=900) + 8 * flow_at_pressure(
    1.5, from_pressure=40, to_pressure=900
)
ARCH_KW = duty.hydraulic_kw(convert(ARCH_GPM, "gpm", "l_min"), convert(900, "psi", "kpa"))
BRUSH = (46.0, 19.0)

CASES = [
    pytest.param(ARCH_GPM, 113.84, 5e-3, id="12 of 1.00 and 8 of 1.50 gpm at 40 psi, at 900 psi"),
    pytest.param(ARCH_KW, 44.57, 5e-3, id="113.84 gpm at 900 psi, kW"),
    pytest.param(convert(ARCH_KW, "kw", "hp"), 59.77, 5e-3, id="gpm psi/1714 (engineeringtoolbox.com/hydraulic-pumps-horsepower-d_1464.html)"),
    pytest.param(duty.hydraulic_kw(10, 10_000), 1.667, 5e-4, id="10 L/min at 100 bar"),
    pytest.param(flow_at_pressure(1, from_pressure=25, to_pressure=40), 1.2649, 5e-5, id="25 to 40 psi (calculator.city nozzle flow)"),
    pytest.param(duty.pressure_held(1.10, 1), 0.826, 5e-4, id="nozzles worn to 110 %"),
    pytest.param(duty.pressure_held(1, 0.92), 0.846, 5e-4, id="pump worn to 92 %"),
    pytest.param(duty.pressure_held(19 / 20, 1), 1.108, 5e-4, id="one of 20 blocked"),
    pytest.param(duty.pressure_held(22 / 20, 1), 0.826, 5e-4, id="one tip of 20 lost, flows like 3"),
    *(
        pytest.param(found, told, within, id=f"46 in brush, 19 in strips, 82 r/min: {what} at {length} in")
        for length, across, feet, metres, hold in ((19, 46, 987.5, 5.017, 82.0), (17.5, 43, 923.1, 4.689, 87.7), (16, 40, 858.7, 4.362, 94.3), (14.5, 37, 794.3, 4.035, 101.9))
        for what, found, told, within in (
            ("diameter", duty.worn_diameter(*BRUSH, length), across, 1e-9),
            ("ft/min", convert(edge_speed_m_s(across * 0.0254, 82), "m_s", "ft_min"), feet, 0.05),
            ("m/s", edge_speed_m_s(across * 0.0254, 82), metres, 5e-4),
            ("r/min to hold", duty.rpm_to_hold(82, 46, across), hold, 0.05),
        )
    ),
    pytest.param(duty.least_length(*BRUSH, 82, 90), 16.96, 5e-3, id="shortest strip within 90 r/min"),
    pytest.param(duty.worn_diameter(*BRUSH, duty.least_length(*BRUSH, 82, 90)), 41.91, 5e-3, id="its diameter"),
]  # fmt: skip


@pytest.mark.parametrize(("value", "told", "within"), CASES)
def test_worked_examples(value, told, within):
    assert value == pytest.approx(told, abs=within)


@given(idle=st.floats(0, 500), each=st.floats(0.01, 3))
def test_a_line_without_scatter_is_found_again(idle, each):
    spans = [(7.0, 5000.0 + 300 * n, 7 * idle + each * (5000 + 300 * n)) for n in range(9)]
    found = duty.idle_and_each(spans)
    assert not isinstance(found, NotEnoughData)
    assert (found[0].value, found[1].value) == (
        pytest.approx(idle, abs=1e-3 * (1 + each)),
        pytest.approx(each, rel=1e-4, abs=1e-5),
    )


def test_the_normal_equations_hold():
    """X^T W (y - X b) = 0, the condition of least squares."""
    spans = [
        (7, 5000, 1900),
        (7, 6000, 2050),
        (6, 4000, 1580),
        (8, 7000, 2400),
        (7, 5500, 1960),
        (7, 6500, 2180),
        (7, 4500, 1790),
        (7, 6200, 2110),
    ]
    idle, each = duty.idle_and_each([*spans, (0, 0, 0)])
    normal = [[sum(a[i] * a[j] / a[0] for a in spans) for j in (0, 1)] for i in (0, 1)]
    for i in (0, 1):
        left = normal[i][0] * idle.value + normal[i][1] * each.value
        assert left == pytest.approx(sum(a[i] * a[2] / a[0] for a in spans))
    energy, inputs = [s[2] for s in spans], [s[:2] for s in spans]
    reference = sm.WLS(energy, inputs, [1 / s[0] for s in spans]).fit()
    assert (idle.u, each.u) == pytest.approx(tuple(reference.bse))


@pytest.mark.parametrize(
    ("spans", "have"),
    [
        pytest.param([(1, n / 1000, n) for n in range(1, 8)], 7, id="few"),
        pytest.param([(1, 4, 1900 + n) for n in range(20)], 0, id="the same traffic"),
        pytest.param([], 0, id="none"),
        pytest.param([(7, 5000 + n / 100, 1900 + n) for n in range(20)], 20, id="all but the same"),
    ],
)
def test_fewer_readings_or_the_same_traffic_tell_nothing(spans, have):
    found = duty.idle_and_each(spans)
    assert isinstance(found, NotEnoughData)
    assert found.have == have


@pytest.mark.parametrize(
    "call",
    [
        lambda: duty.pressure_held(0, 1),
        lambda: duty.worn_diameter(40, 20, 0),
        lambda: duty.rpm_to_hold(80, 40, 0),
        lambda: duty.least_length(40, 20, 80, 0),
    ],
)
def test_what_is_not_defined_is_refused(call):
    with pytest.raises(ValueError, match="expected"):
        call()
