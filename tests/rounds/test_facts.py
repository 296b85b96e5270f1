"""Protects ``round.json``: every key is read, every wrong one told by name, and no file of it can harm."""

from __future__ import annotations

import json
import os
import shutil
from pathlib import Path

import msgspec
import pytest

from listen.cli.main import main
from listen.errors import RoundError
from listen.rounds.loose import MAX_FACTS_BYTES, read_facts, read_taking, stray_keys
from listen.rounds.model import Facts

GOOD: dict[str, object] = {
    "loss_percent": 27.5,
    "supply_kpa": 550,
    "restrictor_mm": 1.0,
    "cylinder": 3,
    "bubbles_seen": True,
    "top_found_again": True,
    "air_followed": True,
    "compression_dry_kpa": 900,
    "compression_wet_kpa": 1050,
    "loss_others_percent": 6,
    "firing_order": [1, 3, 4, 2],
    "calibration_db": 117.4,
    "cylinders": 4,
    "points": ["intake", "tailpipe", "breather"],
}
OUT_OF_RANGE: list[tuple[str, object]] = [
    ("loss_percent", -0.1),
    ("loss_percent", 100.5),
    ("loss_others_percent", 101),
    ("supply_kpa", 0),
    ("supply_kpa", 10_001),
    ("compression_dry_kpa", -1),
    ("compression_wet_kpa", 1e9),
    ("restrictor_mm", 0),
    ("restrictor_mm", 21),
    ("cylinder", 0),
    ("cylinder", 100),
    ("cylinder", 2.5),
    ("calibration_db", 301),
    ("firing_order", [1, 0]),
    ("cylinders", 0),
]


def _read(folder: Path, text: str | bytes) -> Facts:
    path = folder / "round.json"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_facts(path)


def test_every_key_has_a_case() -> None:
    """A key added to the facts is added here."""
    assert set(GOOD) == set(Facts.__struct_fields__)


def test_no_file_and_no_key_mean_nothing_was_read(tmp_path: Path) -> None:
    """All of it may be missing."""
    assert read_facts(tmp_path / "round.json") == Facts() == _read(tmp_path, "{}")
    assert all(value is None for value in msgspec.structs.asdict(Facts()).values())


@pytest.mark.parametrize("key", GOOD)
def test_every_key_alone(tmp_path: Path, key: str) -> None:
    """Its value arrives, null means not read, other keys are for other programs."""
    facts = _read(tmp_path, json.dumps({key: GOOD[key], "someone_elses": [1]}))
    assert json.loads(msgspec.json.encode(facts)) == {key: GOOD[key]}
    assert _read(tmp_path, json.dumps({key: None})) == Facts()


@pytest.mark.parametrize("key", GOOD)
@pytest.mark.parametrize("wrong", ["27", {"value": 1}, [True]])
def test_a_wrong_type_names_the_key(tmp_path: Path, key: str, wrong: object) -> None:
    """A number as text is no number. What is wanted is said in words, not in the decoder's."""
    with pytest.raises(RoundError, match=rf"round\.json: {key}( entry 1)? wants .*; correct it or remove it") as raised:
        _read(tmp_path, json.dumps({key: wrong}))
    assert not set("`$|") & set(str(raised.value).partition("round.json: ")[2])


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('{"loss_percent": "27"}', "loss_percent wants a number, not text in quotes"),
        ('{"loss_percent": 101}', "loss_percent wants a number at most 100"),
        ('{"loss_percent": 1e999}', "loss_percent: number out of range"),
        ('{"supply_kpa": 0}', "supply_kpa wants a number above 0"),
        ('{"cylinder": 2.5}', "cylinder wants a whole number, not a fraction"),
        ('{"bubbles_seen": 1}', "bubbles_seen wants true or false, not a whole number"),
        ('{"firing_order": [1, 0]}', "firing_order entry 2 wants a whole number at least 1"),
        ("[]", "the file wants names with values in { }, not a list in [ ]"),
        ('{"loss_percent": 27,}', "it is no JSON, trailing comma in object (byte 20)"),
        ("{", "it ends early"),
    ],
)
def test_what_is_wrong_is_said_in_words(tmp_path: Path, text: str, said: str) -> None:
    with pytest.raises(RoundError) as raised:
        _read(tmp_path, text)
    assert str(raised.value) == f"{tmp_path / 'round.json'}: {said}; correct it or remove it"


def test_so_is_what_is_wrong_with_how_clips_were_taken(tmp_path: Path) -> None:
    (tmp_path / "round.json").write_text('{"files": {"intake-switched-1": {"switched": {"on_s": [[1, "a"]]}}}}')
    with pytest.raises(RoundError, match=r"files\.switched\.on_s entry 1 entry 2 wants a number, not text in quotes"):
        read_taking(tmp_path / "round.json")


@pytest.mark.parametrize(("key", "value"), OUT_OF_RANGE)
def test_out_of_range_names_the_key(tmp_path: Path, key: str, value: object) -> None:
    """Impossible readings are not used."""
    with pytest.raises(RoundError, match=rf"round\.json: {key}( entry 2)? wants "):
        _read(tmp_path, json.dumps({key: value}))


@pytest.mark.parametrize(
    "text",
    [
        b"",
        b"{",
        b"[]",
        b"27",
        b"null",
        b"loss: 27",
        b'{"loss_percent": NaN}',
        b'{"loss_percent": Infinity}',
        b'{"loss_percent": 1e999}',
        b'{"cylinder": 99999999999999999999999}',
        b"\xff\xfe{\x00}\x00",
        b'{"loss_percent\xc3": "\xc3\x28"',
        b"[" * 300_000,
        b'{"a":' * 150_000 + b"1" + b"}" * 150_000,
        b'{"firing_order": ' + b"[" * 5000 + b"]" * 5000 + b"}",
    ],
    ids=lambda b: f"{bytes(b[:12])!r}",
)
def test_not_json_or_too_deep_is_one_sentence(tmp_path: Path, text: bytes) -> None:
    """Nothing in the file brings the program down."""
    with pytest.raises(RoundError) as raised:
        _read(tmp_path, text)
    assert str(raised.value).endswith("correct it or remove it")
    assert "\n" not in str(raised.value)


def test_stray_keys_are_known_and_a_byte_order_mark_is_none(tmp_path: Path) -> None:
    """A reading under a misspelt name or in another unit is named, not swallowed."""
    facts = _read(tmp_path, b'\xef\xbb\xbf{"loss_percnt": 90, "supply_psi": 80, "cylinder": 2}')
    assert facts == Facts(cylinder=2)
    assert stray_keys(tmp_path / "round.json") == ("loss_percnt", "supply_psi")
    assert stray_keys(tmp_path / "none.json") == ()


@pytest.mark.parametrize("text", [b'{"loss_percent": 3, "\xff": 1}', b'{"\xc3\x28": "\xff"}', b"\xff\xfe{}"])
def test_text_in_another_coding_spoils_one_round_and_the_next_is_judged(
    leak_copy: Path, tmp_path: Path, text: bytes, capsys: pytest.CaptureFixture[str]
) -> None:
    shutil.copytree(leak_copy, tmp_path / "other-coding")
    (tmp_path / "other-coding" / "round.json").write_bytes(text)
    assert main(["rank", "--json", str(tmp_path / "other-coding"), str(leak_copy)]) == 1
    first, second = (json.loads(line) for line in capsys.readouterr().out.splitlines())
    assert "round.json" in first["error"] and first["error"].endswith("correct it or remove it")
    assert second["round"] == str(leak_copy) and second["verdict"]["kind"]


def test_stray_keys_are_said_beside_the_result(leak_copy: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """On stderr; the line on stdout is as it was."""
    assert main(["rank", "--json", str(leak_copy)]) == 0
    before = capsys.readouterr().out
    text = json.loads((leak_copy / "round.json").read_text())
    (leak_copy / "round.json").write_text(json.dumps(text | {"loss_percnt": 90}))
    assert main(["rank", "--json", str(leak_copy)]) == 0
    said = capsys.readouterr()
    assert said.out == before
    assert "loss_percnt" in said.err and "loss_percent" in said.err and said.err.count("\n") == 1


def test_a_cylinder_fires_once(tmp_path: Path) -> None:
    with pytest.raises(RoundError, match="1-3-3-2 names a cylinder twice"):
        _read(tmp_path, '{"firing_order": [1, 3, 3, 2]}')


def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    """Nobody may ever write to it."""
    os.mkfifo(tmp_path / "round.json")
    with pytest.raises(RoundError, match="not a file"):
        read_facts(tmp_path / "round.json")


def test_a_huge_file_is_not_read(tmp_path: Path) -> None:
    """Refused by its size: a sparse file of 1 TB costs nothing."""
    path = tmp_path / "round.json"
    with path.open("wb") as file:
        file.truncate(10**12)
    with pytest.raises(RoundError, match=f"larger than {MAX_FACTS_BYTES} bytes"):
        read_facts(path)


def test_a_folder_in_its_place(tmp_path: Path) -> None:
    """Told as what it is."""
    (tmp_path / "round.json").mkdir()
    with pytest.raises(RoundError, match="cannot be read"):
        read_facts(tmp_path / "round.json")
