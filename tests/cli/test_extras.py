"""A missing library is named with a line that fits how the program came here."""

from dataclasses import replace
from importlib.metadata import PackageNotFoundError

import pytest

from ledger.cli.environment import Installation, install_line, this_installation


@pytest.fixture
def by_pip(tmp_path):
    return Installation(
        python="/opt/the wash/bin/python",
        prefix=tmp_path,
        version="0.1.0",
        direct_url=None,
        installer="pip",
        requires=("segno>=1.6", "pyarrow>=17; extra == 'parquet'", 'pyarrow>=17; extra == "all"'),
    )


def test_pip(by_pip):
    line = "'/opt/the wash/bin/python' -m pip install 'pyarrow>=17'"
    assert install_line("pyarrow", by_pip) == line


def test_pipx_keeps_its_environments_to_itself(by_pip):
    (by_pip.prefix / "pipx_metadata.json").write_text("{}")
    assert install_line("pyarrow", by_pip) == "pipx inject tunnelbook 'pyarrow>=17'"


def test_uv_leaves_no_pip_in_an_environment(by_pip):
    line = "uv pip install --python '/opt/the wash/bin/python' 'pyarrow>=17'"
    assert install_line("pyarrow", replace(by_pip, installer="uv")) == line


def test_from_files_that_were_not_installed(monkeypatch):
    def missing(name):
        raise PackageNotFoundError(name)

    monkeypatch.setattr("importlib.metadata.distribution", missing)
    here = this_installation()
    assert (here.version, here.direct_url, here.requires) == (None, None, ())
    assert install_line("watchfiles", here).endswith(" -m pip install watchfiles")


def test_the_bare_name_of_this_program_is_never_installed(by_pip):
    for installer in ("pip", "uv", ""):
        assert "tunnelbook" not in install_line("pyarrow", replace(by_pip, installer=installer))
