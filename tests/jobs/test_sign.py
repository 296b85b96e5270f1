"""Protects signatures: made with a key only its owner reads, checked on another machine, void after any change."""

from __future__ import annotations

import os
import stat
from pathlib import Path

import msgspec
import pytest
from hypothesis import given, settings

from listen.cli.main import main
from listen.errors import JobError
from listen.jobs import events as ev
from listen.jobs.exchange.keys import SMALL_ORDER, as_key, fingerprint, load_key, make_key, open_to_others, shop_key
from listen.jobs.exchange.sign import check_signatures, signed_bytes
from listen.jobs.folder.chain import Chain, read_chain
from listen.jobs.folder.journal import GENESIS, write_line
from tests.jobs.made import WORDS, opened


@pytest.fixture(scope="module")
def key_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("keys") / "deep" / "shop-key.pem"
    make_key(path)
    return path


def journal_signed(key_file: Path, name: str, statement: str) -> tuple[Chain, ev.Signed, str]:
    """A journal of two lines, the second a signature; the signature; the first line."""
    first = write_line(opened(), prev=GENESIS, actor="")
    key = load_key(key_file)
    blank = ev.Signed(
        round_id="r",
        name=name,
        role="supervisor",
        statement=statement,
        head=first.hash,
        public_key=key.public_key().public_bytes_raw().hex(),
    )
    done = msgspec.structs.replace(blank, signature=key.sign(signed_bytes("0" * 32, blank)).hex())
    second = write_line(done, prev=first.hash, actor=name, id="s")
    return read_chain(first.raw + b"\n" + second.raw + b"\n"), done, first.raw.decode()


@given(WORDS, WORDS)
@settings(max_examples=40, deadline=None)
def test_a_signature_fits_whatever_was_typed(key_file: Path, name: str, statement: str) -> None:
    """Any name and wording; good on a machine that has only the journal."""
    chain, _, _ = journal_signed(key_file, name, statement)
    (check,) = check_signatures(chain)
    assert check.state == "good"
    assert fingerprint(load_key(key_file).public_key().public_bytes_raw().hex()) in check.text


@pytest.mark.parametrize(
    "change",
    [
        {"name": "Bob"},
        {"role": "tech"},
        {"round_id": "r2"},
        {"statement": "I agree!"},
        {"signature": "00" * 64},
        {"signature": "zz"},
        {"signature": ""},
        {"public_key": "11" * 32},
        {"public_key": ""},
        {"head": "0" * 64},
    ],
)
def test_any_changed_field_makes_it_bad(key_file: Path, change: dict[str, str]) -> None:
    """Also with a chain computed anew around it."""
    _, done, first = journal_signed(key_file, "Bo", "I agree.")
    line = read_chain(first.encode() + b"\n").lines[0]
    forged = write_line(msgspec.structs.replace(done, **change), prev=line.hash, actor="", id="s")
    (check,) = check_signatures(read_chain(line.raw + b"\n" + forged.raw + b"\n"))
    assert check.state == "bad"


def test_a_name_without_a_key_is_called_that() -> None:
    """No key: the chain alone holds it, and the check says so."""
    first = write_line(opened(), prev=GENESIS, actor="")
    signed = ev.Signed(round_id="r", name="Bo", role="supervisor", statement="", head=first.hash)
    second = write_line(signed, prev=first.hash, actor="Bo")
    (check,) = check_signatures(read_chain(first.raw + b"\n" + second.raw + b"\n"))
    assert check.state == "name-only"


def test_the_key_file_is_private_and_never_replaced(key_file: Path, tmp_path: Path) -> None:
    """Owner only; a second make is refused; what is no key is said so."""
    assert stat.S_IMODE(key_file.stat().st_mode) == 0o600
    data = key_file.read_bytes()
    with pytest.raises(JobError, match="not replaced"):
        make_key(key_file)
    assert key_file.read_bytes() == data
    (tmp_path / "x.pem").write_text("no key")
    with pytest.raises(JobError, match="not a shop key"):
        load_key(tmp_path / "x.pem")
    with pytest.raises(JobError, match="gone"):
        load_key(tmp_path / "none.pem")


def test_another_sort_of_key_is_refused(tmp_path: Path) -> None:
    """X25519 is not for signing."""
    from cryptography.hazmat.primitives import serialization as s
    from cryptography.hazmat.primitives.asymmetric.x25519 import X25519PrivateKey

    pem = X25519PrivateKey.generate().private_bytes(s.Encoding.PEM, s.PrivateFormat.PKCS8, s.NoEncryption())
    (tmp_path / "x.pem").write_bytes(pem)
    with pytest.raises(JobError, match="Ed25519"):
        load_key(tmp_path / "x.pem")


def test_the_key_command(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """None yet: one line and exit 1. Made: file and fingerprint. Shown again: the same."""
    monkeypatch.setenv("HISSWAY_KEY", str(tmp_path / "key.pem"))
    assert main(["key"]) == 1
    assert "--make" in capsys.readouterr().err
    assert main(["key", "--make"]) == 0
    made = capsys.readouterr().out
    assert main(["key"]) == 0
    assert capsys.readouterr().out == made
    assert len(made.splitlines()[1].replace(" ", "")) == 64


def test_the_shops_key_is_found_where_there_is_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No key: signing goes on without. A file that is no key is said, not passed over."""
    path = tmp_path / "shop" / "key.pem"
    monkeypatch.setenv("HISSWAY_KEY", str(path))
    assert shop_key() is None
    made = make_key(path)
    found = shop_key()
    assert found is not None
    assert found.public_key().public_bytes_raw() == made.public_key().public_bytes_raw()
    path.write_text("not a key")
    with pytest.raises(JobError, match="not a shop key"):
        shop_key()


@pytest.mark.parametrize("sign_bit", [0, 0x80])
@pytest.mark.parametrize("point", sorted(SMALL_ORDER))
def test_a_key_under_which_anyone_can_sign_is_refused_by_name_and_never_makes_a_signature_good(
    key_file: Path, point: bytes, sign_bit: int
) -> None:
    key = (point[:31] + bytes([point[31] | sign_bit])).hex()
    with pytest.raises(JobError, match="anyone can sign"):
        as_key(fingerprint(key))
    _, done, first = journal_signed(key_file, "Bo", "I agree.")
    line = read_chain(first.encode() + b"\n").lines[0]
    # R the neutral point and s = 0 fit every text under such a key, where the check does not look at it.
    forged = msgspec.structs.replace(done, public_key=key, signature="01" + 63 * "00")
    second = write_line(forged, prev=line.hash, actor="", id="s")
    (check,) = check_signatures(read_chain(line.raw + b"\n" + second.raw + b"\n"))
    assert check.state == "bad"


@pytest.mark.skipif(os.name == "nt", reason="Windows says nothing of it in the mode")
def test_a_key_file_that_others_may_read_is_warned_about(tmp_path: Path) -> None:
    path = tmp_path / "shop-key.pem"
    make_key(path)
    assert open_to_others(path) == ""
    for mode in (0o640, 0o604, 0o620):
        path.chmod(mode)
        assert "chmod 600" in open_to_others(path)
