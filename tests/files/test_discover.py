"""Every file under the folders of a site is either read or named in an error."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.files.paths import FOLDERS, Kind, discover, ident_fault

VISIT = "observations/2026/11/2026-11-23T0640-m-osterby.yaml"


@pytest.mark.parametrize(
    ("path", "kind", "ident"),
    [
        ("equipment/brush-p2.yaml", Kind.MACHINE, "brush-p2"),
        ("tasks/grease-shaft-bearings.yaml", Kind.TASK, "grease-shaft-bearings"),
        ("setpoints/brush-p2.yaml", Kind.SETPOINTS, "brush-p2"),
        ("parts/grease-ep2.yaml", Kind.PART, "grease-ep2"),
        (VISIT, Kind.VISIT, "2026-11-23T0640-m-osterby"),
        ("observations/2024/02/2024-02-29T2359-x~2.yaml", Kind.VISIT, "2024-02-29T2359-x~2"),
    ],
)
def test_a_file_in_its_place_has_a_kind_and_an_id(path, kind, ident):
    found = discover(["site.yaml", path])
    assert found.diagnostics == ()
    source = next(source for source in found.sources if source.path == path)
    assert (source.kind, source.ident) == (kind, ident)


@pytest.mark.parametrize(
    ("path", "rule", "nearest"),
    [
        pytest.param("equipment/brush-p2.yml", "misnamed-file", "brush-p2.yaml", id="extension"),
        pytest.param(
            "equipment/brush-p2.YAML", "misnamed-file", "brush-p2.yaml", id="upper-extension"
        ),
        pytest.param(
            "equipment/Brush P2.yaml", "misnamed-file", "brush-p2", id="capitals-and-space"
        ),
        pytest.param("equipment/brush_p2.yaml", "misnamed-file", "brush-p2", id="underscore"),
        pytest.param("equipment/bürste.yaml", "misnamed-file", "b-rste", id="not-ascii"),
        pytest.param("parts/con.yaml", "misnamed-file", "", id="windows-device"),
        pytest.param("parts/lpt1.yaml", "misnamed-file", "", id="windows-port"),
        pytest.param(f"parts/{'a' * 81}.yaml", "misnamed-file", "", id="long"),
        pytest.param("tasks/weekly/grease.yaml", "misplaced-file", "", id="folder-within"),
        pytest.param("tasks/grease.yaml~", "stray-file", "", id="editor-copy"),
        pytest.param("tasks/grease.yaml.orig", "stray-file", "", id="merge-copy"),
        pytest.param("tasks/grease.yaml.txt", "misnamed-file", "grease.yaml", id="hidden-ending"),
        pytest.param("tasks/#grease.yaml#", "stray-file", "", id="autosave"),
        pytest.param("tasks/README.md", "stray-file", "", id="another-format"),
        pytest.param("tasks/grease", "stray-file", "", id="no-extension"),
        pytest.param("Site.yaml", "misnamed-file", "site.yaml", id="site-capital"),
        pytest.param("site.yml", "misnamed-file", "site.yaml", id="site-extension"),
        pytest.param("equipment", "misplaced-file", "", id="file-or-link-for-a-folder"),
        pytest.param("Equipment/a.yaml", "misplaced-file", "equipment", id="folder-capital"),
        pytest.param(
            "observation/2026/11/x.yaml", "misplaced-file", "observations", id="folder-misspelt"
        ),
        *(
            pytest.param(
                f"observations/2026/11/2026-11-23T0640-m-osterby{copy}.yaml",
                "misnamed-file",
                "2026-11-23T0640-m-osterby.yaml",
                id=f"copy{copy}",
            )
            for copy in (" (1)", "(2)", " - Copy", " - Copy (2)", " copy", " copy 2")
        ),
        pytest.param(
            "observations/2026/11/2026-11-23-m-osterby.yaml", "misnamed-file", "", id="no-time"
        ),
        pytest.param(
            "observations/2026/11/2026-11-23T0640.yaml", "misnamed-file", "", id="no-person"
        ),
        pytest.param(
            "observations/2026/11/2026-11-23T0640-m-osterby~1.yaml",
            "misnamed-file",
            "",
            id="first-needs-no-number",
        ),
        pytest.param(
            "observations/2026/10/2026-11-23T0640-m-osterby.yaml",
            "misplaced-file",
            "",
            id="other-month",
        ),
        pytest.param(
            "observations/2026-11-23T0640-m-osterby.yaml", "misplaced-file", "", id="no-folders"
        ),
        pytest.param(
            "observations/2026/02/2026-02-30T0640-m-osterby.yaml",
            "impossible-date",
            "",
            id="february-30",
        ),
        pytest.param(
            "observations/2026/02/2026-02-03T2460-m-osterby.yaml",
            "impossible-date",
            "",
            id="minute-60",
        ),
        pytest.param("observations/2026", "stray-file", "", id="linked-year"),
    ],
)
def test_a_file_out_of_its_place_is_named(path, rule, nearest):
    found = discover(["site.yaml", path])
    assert [source.path for source in found.sources] == ["site.yaml"]
    assert [(d.position.path, d.rule, d.nearest) for d in found.diagnostics] == [
        (path, rule, nearest)
    ]


@pytest.mark.parametrize(
    "path",
    [
        "README.md",
        "book/due.md",
        ".github/workflows/x.yaml",
        "equipment/.gitkeep",
        "tasks/.DS_Store",
        "photos/a.yaml",
    ],
)
def test_what_is_not_a_ledgers_is_left_alone(path):
    found = discover(["site.yaml", path])
    assert len(found.sources) == 1
    assert found.diagnostics == ()


def test_a_folder_without_a_site_says_so():
    (missing,) = discover(["README.md"]).diagnostics
    assert missing.rule == "missing-file"
    assert "tunnelbook init" in missing.remedy


names = st.text(
    st.characters(codec="utf-8", exclude_characters="/\0"), min_size=1, max_size=12
).filter(lambda name: not name.startswith("."))


@given(
    st.sampled_from(sorted(FOLDERS)),
    st.lists(names, min_size=1, max_size=3),
    st.sampled_from(["", ".yaml", ".yml"]),
)
def test_no_name_under_a_known_folder_is_skipped(folder, parts, extension):
    path = "/".join([folder, *parts]) + extension
    found = discover(["site.yaml", path])
    assert path in {source.path for source in found.sources} | {
        d.position.path for d in found.diagnostics
    }


@given(st.text(max_size=12))
def test_an_id_is_safe_on_every_file_system(stem):
    if not ident_fault(stem):
        assert stem.isascii()
        assert stem == stem.lower()
        assert not set(stem) & set('<>:"/\\|?*. ')


@pytest.mark.parametrize(
    "path",
    [
        "2026-11-23T0640-m-osterby.yaml",
        "2026-11-23T0640-m-osterby.yaml.txt",
        "2026-11-23T0640-m-osterby (1).yaml",
        "downloads/2026-11-23T0640-m-osterby.yaml",
    ],
)
def test_a_visit_dropped_elsewhere_is_named_with_the_folder_it_belongs_in(path):
    (problem,) = discover(["site.yaml", path]).diagnostics
    assert problem.position.path == path
    assert problem.rule == "misplaced-file"
    assert problem.remedy == "move it to observations/2026/11/"
    assert problem.nearest == "observations/2026/11/2026-11-23T0640-m-osterby.yaml"


@pytest.mark.parametrize("path", ["notes.yaml", "book/plots/x.svg", "2026-plan.md"])
def test_other_files_outside_the_folders_are_left_alone(path):
    assert discover(["site.yaml", path]).diagnostics == ()
