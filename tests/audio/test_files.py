"""Sound files are read in every form users bring, and everything that is not one is refused in one sentence."""

from __future__ import annotations

import os
import struct
from functools import partial
from pathlib import Path

import numpy as np
import pytest
import soundfile

from listen.audio.files import read_clip, sound_info
from listen.audio.long import read_sound
from listen.errors import ClipError

RATES = (8_000, 11_025, 16_000, 22_050, 32_000, 44_100, 48_000, 88_200, 96_000, 192_000)
FORMS = [
    ("WAV", "PCM_16", 2**-15),
    ("WAV", "PCM_24", 2**-23),
    ("WAV", "PCM_32", 2**-24),
    ("WAV", "FLOAT", 0.0),
    ("WAV", "DOUBLE", 0.0),
    ("WAVEX", "PCM_24", 2**-23),
    ("RF64", "PCM_16", 2**-15),
    ("W64", "PCM_16", 2**-15),
    ("AIFF", "PCM_16", 2**-15),
    ("CAF", "PCM_24", 2**-23),
    ("FLAC", "PCM_16", 2**-15),
    ("FLAC", "PCM_24", 2**-23),
]


def noise(n: int = 4800, channels: int = 1) -> np.ndarray:
    return np.random.default_rng(3).normal(0, 0.1, (n, channels)).astype(np.float32)


@pytest.mark.parametrize(("form", "coding", "step"), FORMS)
def test_every_form_and_coding_comes_in_as_it_was(tmp_path: Path, form: str, coding: str, step: float) -> None:
    x = noise(channels=2)
    soundfile.write(tmp_path / "a.snd", x, 48_000, coding, format=form)
    for channel in (0, 1):
        clip = read_clip(tmp_path / "a.snd", channel=channel)
        assert clip.rate_hz == 48_000
        assert np.abs(clip.samples - x[:, channel]).max() <= step


@pytest.mark.parametrize("rate_hz", RATES)
@pytest.mark.parametrize("form", ["WAV", "FLAC"])
def test_rates_from_8_to_192_khz(tmp_path: Path, rate_hz: int, form: str) -> None:
    soundfile.write(tmp_path / "a.snd", noise(), rate_hz, format=form)
    clip = read_clip(tmp_path / "a.snd")
    assert (clip.rate_hz, len(clip.samples)) == (rate_hz, 4800)


@pytest.mark.parametrize("name", ["a.raw", "ü ñ 測.wav", "no-suffix", "a.txt"])
def test_the_name_does_not_matter(tmp_path: Path, name: str) -> None:
    soundfile.write(tmp_path / name, noise(), 48_000, format="FLAC")
    if name.endswith(".raw"):  # headerless sound cannot be told from noise: refused by name, whatever is inside
        with pytest.raises(ClipError, match="not a sound file"):
            read_clip(tmp_path / name)
    else:
        assert len(read_clip(tmp_path / name).samples) == 4800


def test_a_part_of_a_file_is_that_part(tmp_path: Path) -> None:
    x = noise(48_000)
    soundfile.write(tmp_path / "a.flac", x, 48_000, "PCM_24")
    clip = read_clip(tmp_path / "a.flac", start_s=0.25, seconds=0.5)
    assert np.abs(clip.samples - x[12_000:36_000, 0]).max() <= 2**-23
    assert sound_info(tmp_path / "a.flac").seconds == 1.0


def wav(path: Path, coding: str = "PCM_16", n: int = 4800) -> Path:
    soundfile.write(path, noise(n), 48_000, coding, format="WAV")
    return path


def text(path: Path) -> None:
    path.write_text("engine 3, cold, rings?\n" * 50)


def claims_four_gigabytes(path: Path) -> None:
    wav(path)
    data = bytearray(path.read_bytes())
    at = data.index(b"data") + 4
    data[4:8] = data[at : at + 4] = struct.pack("<I", 0xFFFF_FFF0)
    path.write_bytes(data)


def flac_claims_hours(path: Path) -> None:
    soundfile.write(path, noise(), 48_000, format="FLAC")
    data = bytearray(path.read_bytes())
    data[21] |= 0x0F  # STREAMINFO: the 36-bit count of samples begins in the low half of byte 21
    data[22:26] = b"\xff\xff\xff\xff"
    path.write_bytes(data)


def cut_mp3(path: Path) -> None:
    soundfile.write(path, noise(480_000), 48_000, format="MP3")
    path.write_bytes(path.read_bytes()[:40_000])


def cut_rf64(path: Path) -> None:
    soundfile.write(path, noise(), 48_000, format="RF64")
    path.write_bytes(path.read_bytes()[:4000])


def cut_aiff(path: Path) -> None:
    soundfile.write(path, noise(), 48_000, format="AIFF")
    path.write_bytes(path.read_bytes()[:4000])


def cut_wav(path: Path) -> None:
    wav(path)
    path.write_bytes(path.read_bytes()[:4000])


def cut_flac(path: Path) -> None:
    soundfile.write(path, noise(48_000), 48_000, format="FLAC")
    path.write_bytes(path.read_bytes()[:20_000])


def damaged_flac(path: Path) -> None:
    soundfile.write(path, noise(48_000), 48_000, format="FLAC")
    data = bytearray(path.read_bytes())
    data[30_000:30_400] = bytes(400)
    path.write_bytes(data)


def not_a_number(path: Path) -> None:
    x = noise()
    x[100] = np.nan
    soundfile.write(path, x, 48_000, "FLOAT", format="WAV")


def beyond_float32(path: Path) -> None:
    x = noise().astype(np.float64)
    x[100] = 1e300
    soundfile.write(path, x, 48_000, "DOUBLE", format="WAV")


def no_samples(path: Path) -> None:
    soundfile.write(path, noise()[:0], 48_000, format="WAV")


def eight_bits(path: Path) -> None:
    wav(path, "PCM_U8")


def companded(path: Path) -> None:
    wav(path, "ULAW")


def too_slow(path: Path) -> None:
    soundfile.write(path, noise(), 7_999, format="WAV")


def too_fast(path: Path) -> None:
    soundfile.write(path, noise(), 384_000, format="WAV")


def eleven_minutes(path: Path) -> None:
    soundfile.write(path, np.zeros(660 * 8000, np.int16), 8000, format="FLAC")


BAD = {
    "not a sound file": text,
    "empty file": lambda p: p.write_bytes(b""),
    "only a header's start": lambda p: p.write_bytes(b"RIFF\x24\x00\x00\x00WAVE"),
    "claims 429": claims_four_gigabytes,
    "bytes more than the file holds; cut off": cut_wav,
    "limit by the form's own count": flac_claims_hours,
    "of 480000 samples are missing": cut_mp3,
    "header claims 57.. bytes": cut_rf64,
    "header claims [0-9]{4} bytes": cut_aiff,
    "damaged or cut off soon after 0": cut_flac,
    "damaged or cut off": damaged_flac,
    "not a finite number": not_a_number,
    "sample 100 is not a finite": beyond_float32,
    "holds no samples": no_samples,
    "8 bits hide the hiss": eight_bits,
    "8 bits": companded,
    "sample rate 7999 Hz": too_slow,
    "sample rate 384000 Hz": too_fast,
    "660 s long; at most 600 s": eleven_minutes,
    "not a file": lambda p: p.mkdir(),
    "not a file;": lambda p: os.mkfifo(p),
    "cannot be read": lambda p: None,
}
WORDS = {"only a header's start": "not a sound file", "limit by the form's own count": "s long; at most"}


@pytest.mark.parametrize("says", BAD)
def test_bad_files_get_one_clear_sentence(tmp_path: Path, says: str) -> None:
    path = tmp_path / "intake-air.wav"
    BAD[says](path)
    for read in (read_clip, partial(read_sound, held=False)):  # a long one is read in stretches
        sooner = "" if read is read_clip else "|damaged or cut off soon"  # its first second is decoded first
        with pytest.raises(ClipError, match=WORDS.get(says, says) + sooner) as caught:
            read(path)
        sentence = str(caught.value)
        assert sentence.startswith("intake-air.wav: ")
        assert "\n" not in sentence
        assert "Error" not in sentence


def test_no_such_channel(tmp_path: Path) -> None:
    with pytest.raises(ClipError, match="no channel 2; it has 1"):
        read_clip(wav(tmp_path / "a.wav"), channel=2)


def test_a_part_beyond_the_end(tmp_path: Path) -> None:
    with pytest.raises(ClipError, match=r"lasts 0\.10 s; nothing to read at 3 s"):
        read_clip(wav(tmp_path / "a.wav"), start_s=3)


def test_unreadable_by_permission(tmp_path: Path) -> None:
    path = wav(tmp_path / "a.wav")
    path.chmod(0)
    if os.access(path, os.R_OK):
        path.unlink()  # root reads everything; a dangling link is as unreadable
        path.symlink_to(tmp_path / "gone")
    with pytest.raises(ClipError, match="cannot be read"):
        read_clip(path)
