import pytest
from example import EXAMPLE

pytestmark = pytest.mark.usefixtures("example_read_once")


@pytest.mark.parametrize(
    ("command", "said"),
    [
        pytest.param("grease", "Amount and interval", id="grease"),
        pytest.param("wear", "Limit reached", id="wear"),
    ],
)
def test_the_page_is_printed(tunnelbook, command, said):
    assert tunnelbook(command, "--site", EXAMPLE) == 0
    assert said in tunnelbook.out


def test_one_machine_s_grease(tunnelbook):
    assert tunnelbook("grease", "brush-p2", "--site", EXAMPLE, "--json") == 0

    facts = tunnelbook.data
    assert {point["place"].partition("/")[0] for point in facts["points"]} == {"brush-p2"}
    assert [supply["part"] for supply in facts["supplies"]] == ["grease-ep2"]


def test_one_machine_s_wear(tunnelbook):
    assert tunnelbook("wear", "rinse-arch", "--site", EXAMPLE, "--json") == 0

    facts = tunnelbook.data
    assert [group["machine"] for group in facts["nozzles"]] == ["rinse-arch"]
    assert facts["belts"] == facts["cloth"] == facts["dampers"] == []


@pytest.mark.parametrize("command", ["grease", "wear"])
def test_a_misspelt_machine_is_answered_with_the_nearest(tunnelbook, command):
    assert tunnelbook(command, "brush-p22", "--site", EXAMPLE) == 2
    assert "did you mean `brush-p2`?" in tunnelbook.err
