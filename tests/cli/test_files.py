"""Files that a user names are read bounded, and every mistake is told with its place."""

from __future__ import annotations

from pathlib import Path

import pytest

from kb.base.errors import BadInput, JackfieldError
from kb.base.inputfiles import read_data
from tests.cli.conftest import Run


def written(folder: Path, name: str, content: str | bytes) -> str:
    path = folder / name
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return str(path)


def test_json_and_toml_are_read_by_ending_and_by_look(tmp_path: Path) -> None:
    assert read_data(written(tmp_path, "a.json", '{"a": 1}'))[0] == {"a": 1}
    assert read_data(written(tmp_path, "a.toml", "a = 1"))[0] == {"a": 1}
    assert read_data(written(tmp_path, "a", "a = 1"))[0] == {"a": 1}
    assert read_data(written(tmp_path, "b", '[{"a": 1}]'))[0] == [{"a": 1}]


def test_a_byte_order_mark_does_no_harm(tmp_path: Path) -> None:
    assert read_data(written(tmp_path, "a.json", b"\xef\xbb\xbf{}"))[0] == {}


@pytest.mark.parametrize(
    ("name", "content", "named"),
    [
        ("a.json", "", "empty"),
        ("a.json", "  \n", "empty"),
        ("a.json", '{"a": \n oops}', "line 2"),
        ("a.toml", "a = = 1", "TOML"),
        ("a.json", "[" * 100_000, "nested"),
        ("a.toml", "a = " + "[" * 100_000, "nested"),
        ("a.json", b"\xff\xfe{", "UTF-8"),
        ("a.json", '{"a": NaN}', "NaN"),
        ("a", "neither this nor that", "JSON or TOML"),
        ("a.json", "9" * 10_000, "JSON"),
    ],
)
def test_what_is_no_data_is_refused_by_name(
    tmp_path: Path, name: str, content: str | bytes, named: str
) -> None:
    with pytest.raises(BadInput) as caught:
        read_data(written(tmp_path, name, content))
    assert named in str(caught.value)
    assert name in str(caught.value)


def test_a_file_of_a_hundred_megabytes_is_not_read(tmp_path: Path) -> None:
    path = tmp_path / "big.json"
    with path.open("wb") as file:
        file.truncate(100 * 1024 * 1024)  # sparse: costs the disk nothing
    with pytest.raises(BadInput, match="MiB"):
        read_data(str(path))


@pytest.mark.parametrize("name", ["missing.json", ".", "nul\0byte"])
def test_what_is_no_file_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    monkeypatch.chdir(tmp_path)
    with pytest.raises(JackfieldError):
        read_data(name)


@pytest.mark.parametrize("first", ["[source]", "[[jobs]]", "[loop]  # of the sofa", "\n [user]\n"])
def test_toml_may_begin_with_a_table(tmp_path: Path, first: str) -> None:
    """As readings and job files do: from standard input there is no ending that tells what it is."""
    data, _ = read_data(written(tmp_path, "a", f'{first}\nmake = "Norwell"\n'))
    ((_, found),) = data.items()
    assert found in ({"make": "Norwell"}, [{"make": "Norwell"}])


def test_a_broken_list_is_told_as_json(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match=r"line 2: saw .*, expected JSON$"):
        read_data(written(tmp_path, "a", '[{"a": 1},\n oops]'))


def test_a_missing_file_is_told_without_a_guess_at_what_it_holds(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="file not found"):
        read_data(str(tmp_path / "none"))


@pytest.mark.parametrize("number", ["410,5", "-2,0", "410,5  # sofa"])
def test_a_decimal_comma_in_toml_is_called_one(jackfield: Run, tmp_path: Path, number: str) -> None:
    file = tmp_path / "readings.toml"
    file.write_text(f'[[positions]]\nname = "sofa"\nfield_ma_per_m = {number}\n')
    said = " ".join(jackfield("readings", str(file)).err.split())
    assert f"{number.split()[0]} with a decimal comma at line 3" in said


def test_curly_quotes_in_toml_are_called_so(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="curly quotes at line 2"):
        read_data(written(tmp_path, "a", "field_db = 1\nname = “sofa”\n"))


@pytest.mark.parametrize("day", ["03/04/2026", "3.4.2026", "04-03-26"])
def test_a_date_that_may_be_two_days_is_never_guessed(jackfield: Run, day: str) -> None:
    answer = jackfield("record", "Tarnow", "Z1", "opt", "--by", "RT", "--date", day)
    assert answer.code == 2
    assert "(year, month, day)" in answer.err
