"""The key of people's codes: made once, for its user alone, and never in place of another."""

import stat

import pytest

from ledger.files.people_key import people_key, people_key_path


@pytest.fixture(autouse=True)
def data(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))


def test_it_is_made_once_and_only_where_that_is_asked_for():
    assert people_key(make=False) == ""
    assert not people_key_path().exists()
    key = people_key(make=True)
    assert len(bytes.fromhex(key)) == 32
    assert stat.S_IMODE(people_key_path().stat().st_mode) == 0o600
    assert people_key(make=True) == people_key(make=False) == key


def test_two_users_have_two_keys(tmp_path, monkeypatch):
    one = people_key(make=True)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "other"))
    assert people_key(make=True) != one


def test_what_is_no_key_is_told_and_stays():
    people_key_path().parent.mkdir(parents=True)
    people_key_path().write_text("secret\n")
    with pytest.raises(ValueError, match=r"people[.]key is no key"):
        people_key(make=True)
    assert people_key_path().read_text() == "secret\n"


def test_without_a_data_folder_of_its_own_it_lies_in_the_home_folder(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_DATA_HOME", "relative")
    monkeypatch.setenv("HOME", str(tmp_path))
    assert people_key_path() == tmp_path / ".local/share/tunnelbook/people.key"
