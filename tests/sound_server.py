"""A private sound server with a virtual microphone and loudspeaker: real PortAudio streams without hardware.

Other test folders use it by ``from tests.sound_server import sound_server`` in their ``conftest.py``. Streams must be
opened in subprocesses started with :meth:`SoundServer.run` or :meth:`SoundServer.start_python`, since PortAudio and
ALSA read their configuration from the environment once, when they are loaded.

Virtual devices: ``vmic`` (hears what :meth:`SoundServer.feed` plays), ``vmic4`` (the same with four channels), ``vspk``
(a loudspeaker), ``vspk_mon`` (hears what ``vspk`` plays). All are 48 kHz, float32 and pass samples on exactly.
"""

from __future__ import annotations

import ctypes.util
import functools
import os
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

RATE_HZ = 48_000
PROGRAMS = ("pulseaudio", "pactl", "paplay")
PACKAGES = "libportaudio2 pulseaudio pulseaudio-utils libasound2-plugins"
AHEAD = ("nice", "-n", "-11")
"""Put before what carries sound, so that it goes ahead of what computes, as on a desktop."""
QUAD = "front-left,front-right,rear-left,rear-right"
SINK_S = 0.15
"""Several times what a null sink renders ahead (0.04 s): what the server has taken in is heard by then."""
BUFFERED = re.compile(r"Buffer Latency: (\d+) usec")

# norewinds: else a null sink takes back the start of what was played, and the start of takes is lost.
SERVER_SCRIPT = """.fail
load-module module-native-protocol-unix socket={folder}/native auth-anonymous=1
load-module module-null-sink sink_name=vspk rate=48000 channels=1 format=float32le norewinds=1
load-module module-null-sink sink_name=vmic rate=48000 channels=1 format=float32le norewinds=1
load-module module-null-sink sink_name=elsewhere rate=48000 channels=1 format=float32le norewinds=1
load-module module-remap-source source_name=mic master=vmic.monitor
load-module module-null-sink sink_name=vmic4 rate=48000 channels=4 channel_map={quad} format=float32le norewinds=1
load-module module-remap-source source_name=mic4 master=vmic4.monitor channels=4 channel_map={quad} remix=no
set-default-sink vspk
set-default-source mic
"""
ALSA_SCRIPT = """</usr/share/alsa/alsa.conf>
pcm.vmic {{ type pulse server "unix:{folder}/native" device mic hint {{ show on description "Virtual mic" }} }}
pcm.vmic4 {{ type pulse server "unix:{folder}/native" device mic4 hint {{ show on description "Four mics" }} }}
pcm.vspk_mon {{ type pulse server "unix:{folder}/native" device vspk.monitor hint {{ show on description "Monitor" }} }}
pcm.vspk {{ type pulse server "unix:{folder}/native" device vspk hint {{ show on description "Virtual speaker" }} }}
"""


def missing() -> str:
    """What keeps the server from running here; empty where it can."""
    lacking = [name for name in PROGRAMS if shutil.which(name) is None]
    if ctypes.util.find_library("portaudio") is None:
        lacking.append("libportaudio")
    if not any(Path("/usr/lib").glob("**/alsa-lib/libasound_module_pcm_pulse.so")):
        lacking.append("the ALSA plugin for PulseAudio")
    return ", ".join(lacking)


def packages_expected() -> bool:
    """Whether what needs a system package must run: in CI, except where it tries the machine as it comes."""
    return bool(os.environ.get("CI")) and not os.environ.get("BARE_MACHINE")


@functools.cache
def ahead() -> tuple[str, ...]:
    """:data:`AHEAD` where that is allowed (``nice`` complains elsewhere, and goes on)."""
    tried = subprocess.run([*AHEAD, "true"], capture_output=True)
    return () if tried.stderr else AHEAD


class SoundServer:
    """One server process with its own folder; nothing of the user's own sound set-up is touched."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.socket = folder / "native"
        folder.chmod(0o700)
        (folder / "default.pa").write_text(SERVER_SCRIPT.format(folder=folder, quad=QUAD))
        (folder / "asound.conf").write_text(ALSA_SCRIPT.format(folder=folder))
        self.env = os.environ | {
            "PULSE_SERVER": f"unix:{self.socket}",
            "XDG_RUNTIME_DIR": str(folder),
            "HOME": str(folder),
            "ALSA_CONFIG_PATH": str(folder / "asound.conf"),
            "OMP_NUM_THREADS": "1",
        }
        self.process: subprocess.Popen[bytes] | None = None
        self._children: list[subprocess.Popen[str] | subprocess.Popen[bytes]] = []

    def start(self) -> None:
        """Start the server and wait until it answers; again after :meth:`kill`, as if plugged in again."""
        self.socket.unlink(missing_ok=True)
        command = [
            *ahead(),
            "pulseaudio",
            "-n",
            "-F",
            str(self.folder / "default.pa"),
            "--daemonize=no",
            "--exit-idle-time=-1",
        ]
        command += ["--use-pid-file=no", "--disable-shm=yes", "--realtime=no", "--high-priority=no"]
        command += [f"--log-target=file:{self.folder / 'log'}"]
        self.process = subprocess.Popen(command, env=self.env, stderr=subprocess.DEVNULL)
        give_up = time.monotonic() + 10
        while subprocess.run(["pactl", "info"], env=self.env, capture_output=True).returncode:
            if time.monotonic() > give_up or self.process.poll() is not None:
                raise RuntimeError(f"the sound server does not start: {(self.folder / 'log').read_text()}")
            time.sleep(0.02)

    def kill(self) -> None:
        """SIGKILL, as a crash."""
        assert self.process is not None
        self.process.kill()
        self.process.wait()

    def freeze(self) -> None:
        """SIGSTOP: the server is there and does nothing."""
        assert self.process is not None
        self.process.send_signal(signal.SIGSTOP)

    def thaw(self) -> None:
        """SIGCONT."""
        assert self.process is not None
        self.process.send_signal(signal.SIGCONT)

    def pactl(self, *words: str) -> str:
        """Give the server an order."""
        done = subprocess.run(["pactl", *words], env=self.env, check=True, capture_output=True, text=True)
        return done.stdout

    def feed(self, wav: Path, latency_ms: int = 1000, device: str = "vmic") -> subprocess.Popen[bytes]:
        """Play a sound file into the virtual microphone, and return when it is heard there.

        Buffered by a second, so that load does not tear it.
        """
        quad = [f"--channel-map={QUAD}"] if device == "vmic4" else []
        command = [*ahead(), "paplay", f"--device={device}", *quad, f"--latency-msec={latency_ms}", str(wav)]
        player = self._child(subprocess.Popen(command, env=self.env, stderr=subprocess.DEVNULL))
        give_up = time.monotonic() + 10
        while not self._holds_sound_of(player.pid):
            assert time.monotonic() < give_up, f"{wav.name} is not played"
            time.sleep(0.01)
        time.sleep(SINK_S)
        return player  # type: ignore[no-any-return]

    def _holds_sound_of(self, pid: int) -> bool:
        """Whether the server has taken in sound from a player."""
        players = self.pactl("list", "sink-inputs").split("Sink Input #")
        mine = next((text for text in players if f'application.process.id = "{pid}"' in text), "")
        return (found := BUFFERED.search(mine)) is not None and int(found[1]) > 0

    def run(self, *command: str, timeout_s: float = 60) -> subprocess.CompletedProcess[str]:
        """Run a command to its end with the virtual devices as its only ones."""
        return subprocess.run([*ahead(), *command], env=self.env, capture_output=True, text=True, timeout=timeout_s)

    def start_python(self, script: Path, *words: str, first: bool = True) -> subprocess.Popen[str]:
        """Start a Python script of the tests, talked to over its pipes; ``first`` puts it ahead of what computes."""
        command = [*(ahead() if first else ()), sys.executable, "-u", str(script), *words]
        pipe = subprocess.PIPE
        return self._child(subprocess.Popen(command, env=self.env, stdin=pipe, stdout=pipe, stderr=pipe, text=True))

    def close(self) -> None:
        """End everything that was started here."""
        for child in self._children:
            if child.poll() is None:
                child.kill()
            child.wait()
            for pipe in (child.stdin, child.stdout, child.stderr):
                if pipe is not None:
                    pipe.close()
        self._children.clear()
        if self.process is not None and self.process.poll() is None:
            self.thaw()
            self.kill()

    def afresh(self) -> None:
        """End everything that was started here and start a new server."""
        self.close()
        self.start()

    def _child(self, child):  # type: ignore[no-untyped-def]
        self._children.append(child)
        return child


@pytest.fixture
def sound_server() -> Iterator[SoundServer]:
    """A running server of one's own; skipped where none can run, never in CI."""
    if lacking := missing():
        reason = f"no private sound server can run here, missing: {lacking} (packages: {PACKAGES})"
        if packages_expected():
            pytest.fail(reason)
        pytest.skip(reason)
    with tempfile.TemporaryDirectory(prefix="snd") as folder:  # short: a socket's path has 108 bytes at most
        server = SoundServer(Path(folder))
        try:
            server.start()
            yield server
        finally:
            server.close()
