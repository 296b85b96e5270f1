"""Recordings people have: MP3, Ogg and Opus are read and said to be coded; a phone's own forms through an extra."""

from __future__ import annotations

import builtins
import sys
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
import soundfile

from listen.audio import files
from listen.audio.files import read_clip, read_part
from listen.audio.long import read_sound
from listen.audio.write import write_clip, write_part
from listen.errors import ClipError
from listen.jobs.bring_in import recordings_in
from listen.rounds.loose import read_folder
from listen.signal.clip import Clip
from listen.signal.quality import check_clip
from listen.signal.spectra import spectra

RATE_HZ = 48_000
FORMS = {"x.mp3": ("MP3", "MPEG_LAYER_III"), "x.ogg": ("OGG", "VORBIS"), "x.opus": ("OGG", "OPUS")}


def hiss(seconds: float = 3.0) -> np.ndarray:
    return (0.05 * np.random.default_rng(1).standard_normal(round(seconds * RATE_HZ))).astype(np.float32)


def level_db(x: np.ndarray) -> float:
    return float(10 * np.log10(np.mean(x[RATE_HZ // 2 : -RATE_HZ // 2] ** 2)))


def in_aac(path: Path, x: np.ndarray) -> Path:
    """What a phone's voice memo is."""
    return by_ffmpeg(path, x, "aac", RATE_HZ)


def by_ffmpeg(path: Path, x: np.ndarray, codec: str, rate_hz: int) -> Path:
    """Sound in a container of the suffix's kind, coded as is said."""
    av = pytest.importorskip("av")
    with av.open(str(path), "w", format={".aac": "adts", ".3gpp": "3gp"}.get(path.suffix)) as container:
        stream = container.add_stream(codec, rate=rate_hz)
        stream.layout = "mono"
        frame = av.AudioFrame.from_ndarray(x[None, :], format="fltp", layout="mono")
        frame.rate, frame.time_base, frame.pts = rate_hz, Fraction(1, rate_hz), 0
        form = stream.codec_context.format
        fit = av.AudioResampler(format=form, layout="mono", rate=rate_hz, frame_size=stream.codec_context.frame_size)
        frames = [*fit.resample(frame), *fit.resample(None)]
        for packet in [p for f in [*frames, None] for p in stream.encode(f)]:
            container.mux(packet)
    return path


@pytest.mark.parametrize(
    ("name", "codec", "rate_hz", "coded"),
    [
        ("x.m4a", "alac", 48_000, ""),
        ("x.mp4", "aac", 44_100, "AAC"),
        ("x.3gp", "libopencore_amrnb", 8_000, "AMRNB"),
        ("x.3gpp", "aac", 44_100, "AAC"),
        ("x.3g2", "aac", 44_100, "AAC"),
        ("x.amr", "libopencore_amrnb", 8_000, "AMRNB"),
        ("x.aac", "aac", 44_100, "AAC"),
        ("x.caf", "pcm_s16le", 48_000, ""),
        ("x.webm", "libopus", 48_000, "OPUS"),
    ],
)
def test_what_phones_record_in_is_read(tmp_path: Path, name: str, codec: str, rate_hz: int, coded: str) -> None:
    """Whole or in stretches, at its rate, said to be coded where the coder leaves anything out."""
    made = by_ffmpeg(tmp_path / name, hiss(1.0)[:rate_hz], codec, rate_hz)
    clip, long = read_clip(made), read_sound(made, held=False)
    assert (clip.rate_hz, clip.coded, long.coded) == (rate_hz, coded, coded)
    assert clip.seconds == pytest.approx(1.0, abs=0.07), "coders pad the last frame"
    in_stretches = np.concatenate([x for _, _, x in long.stretches(5_000)])
    assert np.array_equal(in_stretches, clip.samples)
    if not coded:
        assert np.corrcoef(clip.samples, hiss(1.0)[:rate_hz])[0, 1] > 0.999


def test_eight_bits_in_a_phones_file_are_refused_as_in_any_other(tmp_path: Path) -> None:
    made = by_ffmpeg(tmp_path / "x.caf", hiss(1.0)[:8_000], "pcm_mulaw", 8_000)
    for held in (True, False):
        with pytest.raises(ClipError, match="8 bits hide the hiss"):
            read_sound(made, held=held)


def test_a_list_that_names_other_files_is_no_recording(tmp_path: Path) -> None:
    """Else a stranger's "recording" opens whatever of the user's it names."""
    pytest.importorskip("av")
    soundfile.write(tmp_path / "private.wav", hiss(0.1), RATE_HZ)
    (tmp_path / "x.m4a").write_text("ffconcat version 1.0\nfile 'private.wav'\n")
    with pytest.raises(ClipError, match="cannot be decoded"):
        read_clip(tmp_path / "x.m4a")


def test_a_phones_recording_longer_than_is_taken_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    memo = in_aac(tmp_path / "x.m4a", hiss(1.0))
    monkeypatch.setattr(files, "MAX_SAMPLES", RATE_HZ // 2)
    with pytest.raises(ClipError, match="longer than"):
        read_clip(memo)
    assert read_clip(memo, seconds=0.4).seconds == 0.4


def test_sound_of_a_coding_unknown_here_is_one_sentence(tmp_path: Path) -> None:
    data = in_aac(tmp_path / "x.m4a", hiss(1.0)).read_bytes()
    (tmp_path / "x.m4a").write_bytes(data.replace(b"mp4a", b"zzzz").replace(b"esds", b"free"))
    with pytest.raises(ClipError, match="coded in a way not known here"):
        read_clip(tmp_path / "x.m4a")


@pytest.mark.parametrize("name", FORMS)
def test_coded_sound_is_read_at_its_level_and_said_to_be_coded(tmp_path: Path, name: str) -> None:
    form, subtype = FORMS[name]
    soundfile.write(tmp_path / name, hiss(), RATE_HZ, format=form, subtype=subtype)
    clip = read_clip(tmp_path / name)
    assert clip.coded in {"MP3", "Vorbis", "Opus"}
    assert level_db(clip.samples) == pytest.approx(level_db(hiss()), abs=1.5)
    (flag,) = [f for f in check_clip(clip, spectra(clip)) if f.flag == "coded"]
    assert not flag.reject and clip.coded in flag.text


def test_a_plain_file_raises_no_such_flag(tmp_path: Path) -> None:
    write_clip(tmp_path / "x.flac", Clip.of(hiss(), RATE_HZ))
    clip = read_clip(tmp_path / "x.flac")
    assert clip.coded == "" and "coded" not in {f.flag for f in check_clip(clip, spectra(clip))}


@pytest.mark.parametrize(("suffix", "form"), [(".aif", "AIFF"), (".aiff", "AIFF"), (".rf64", "RF64"), (".w64", "W64")])
def test_a_field_recorders_forms_are_taken_for_a_round(tmp_path: Path, suffix: str, form: str) -> None:
    for kind in ("quiet", "air"):
        soundfile.write(tmp_path / f"intake-{kind}{suffix}", hiss(), RATE_HZ, "PCM_24", format=form)
    takes = read_folder(tmp_path).takes
    assert [read_clip(t.path).coded for t in takes] == ["", ""]
    assert np.allclose(read_clip(takes[0].path).samples, hiss(), atol=1e-6)


def test_that_it_was_coded_is_kept_on_the_way_into_a_job(tmp_path: Path) -> None:
    """A part and the FLAC made of it still know."""
    write_part(tmp_path / "x.part", Clip.of(hiss(), RATE_HZ, coded="MP3"))
    part = read_part(tmp_path / "x.part")
    write_clip(tmp_path / "x.flac", part)
    assert (part.coded, read_clip(tmp_path / "x.flac").coded) == ("MP3", "MP3")


def test_a_voice_memo_is_read(tmp_path: Path) -> None:
    memo = in_aac(tmp_path / "intake-quiet-1.m4a", hiss())
    clip = read_clip(memo)
    assert clip.coded == "AAC" and clip.rate_hz == RATE_HZ and abs(clip.seconds - 3.0) < 0.1
    assert level_db(clip.samples) == pytest.approx(level_db(hiss()), abs=3.0)  # the coder leaves out part of noise
    part = read_clip(memo, start_s=1.0, seconds=0.5)
    assert len(part.samples) == RATE_HZ // 2 and np.array_equal(part.samples, clip.samples[RATE_HZ : RATE_HZ * 3 // 2])
    with pytest.raises(ClipError, match="no channel 3"):
        read_clip(memo, channel=3)


def test_a_folder_of_phone_files_is_a_round(tmp_path: Path) -> None:
    for kind in ("quiet", "air"):
        in_aac(tmp_path / f"intake-{kind}-1.m4a", hiss())
        soundfile.write(tmp_path / f"tailpipe-{kind}-1.mp3", hiss(), RATE_HZ, format="MP3")
    assert {t.path.suffix for t in read_folder(tmp_path).takes} == {".m4a", ".mp3"}


@pytest.mark.parametrize("content", [b"", b"no sound", b"\0\0\0\x18ftypM4A \0\0\0\0"])
def test_what_is_no_recording_is_one_sentence(tmp_path: Path, content: bytes) -> None:
    pytest.importorskip("av")
    (tmp_path / "x.m4a").write_bytes(content)
    with pytest.raises(ClipError, match=r"x\.m4a: "):
        read_clip(tmp_path / "x.m4a")


def test_without_the_extra_one_sentence_names_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "x.m4a").write_bytes(b"x")
    real = builtins.__import__

    def missing(name: str, *more: object, **also: object) -> object:
        if name == "av":
            raise ImportError(name)
        return real(name, *more, **also)

    monkeypatch.setattr(builtins, "__import__", missing)
    monkeypatch.delitem(sys.modules, "av", raising=False)
    with pytest.raises(ClipError, match=r"hissway\[phone\]"):
        read_clip(tmp_path / "x.m4a")
    (listed,) = recordings_in(tmp_path).recordings
    assert "hissway[phone]" in listed.trouble and listed.trouble.startswith("x.m4a: ")
