# SPDX-License-Identifier: GPL-3.0-or-later
"""What holds for every render: alignment, length, blocks, channels; what is refused.

What comes out of published circuits is in test_render_published.py.
"""

from pathlib import Path

import numpy as np
import pytest
from commands import (
    DIVIDER,
    LOW_PASS,
    LOW_PASS_HZ,
    MIXER,
    VOLUME,
    drawn,
    names_in,
    refused,
    tonebench,
)
from numpy.typing import NDArray
from sounds import (
    impulse,
    noise,
    read_clip,
    read_integers,
    write_24,
    write_float,
)

from tonebench.audio.files import read_take
from tonebench.audio.take import Take
from tonebench.circuit.circuit import STRAIGHT
from tonebench.circuit.files import read_circuit, read_pickup
from tonebench.circuit.hookup import Chain, Hookup, Pickup, join
from tonebench.errors import AudioError, CheckFailed, RequestError
from tonebench.render.offline import render_take
from tonebench.render.route import route
from tonebench.render.runner import RouteRunner

Real = NDArray[np.float64]
#: 32-bit floats around 0.1 are 7e-9 apart.
FLOAT_STEP = 1e-8


@pytest.fixture
def stage() -> Chain:
    """Return plover behind a coil and a lead: six poles, one of them slow."""
    hookup = Hookup({"": read_pickup("sedge")}, cable_farad=700e-12, load_ohm=1e4)
    return join(read_circuit("plover"), hookup)


@pytest.fixture
def harness() -> Chain:
    """Return a passive circuit of two inputs with two coils that differ."""
    coils = {"neck": read_pickup("sedge"), "bridge": read_pickup("marram")}
    return join(read_circuit("dunlin"), Hookup(coils, cable_farad=700e-12))


def played(chain: Chain, take: Path, **options: object) -> Real:
    """Render to a float WAV beside the take and return what it holds."""
    output = take.with_name(f"{take.stem}-played.wav")
    render_take(Take(take), chain, {}, output, force=True, **options)  # type: ignore[arg-type]
    return read_clip(output)[1]


# Alignment and identity


def test_straight_gives_back_every_bit_of_a_24_bit_take(tmp_path: Path) -> None:
    edges = [-(2**23), -(2**23) + 1, -1, 0, 1, 2**23 - 2, 2**23 - 1]
    values = np.random.default_rng(3).integers(-(2**23), 2**23, (70_001, 2))
    values[: len(edges), 1] = edges
    take = write_24(tmp_path / "take.wav", values)
    for name in ("clip.wav", "clip.flac"):
        words = ("straight", "-o", tmp_path / name, "--subtype", "pcm24")
        assert tonebench("render", take, *words) == 0
    assert (read_integers(tmp_path / "clip.wav") == values).all()
    assert (read_take(tmp_path / "clip.flac")[1] * 2**23 == values).all()


def test_straight_keeps_an_impulse_at_its_frame(tmp_path: Path) -> None:
    places = (0, 1, 4095, 65_535, 65_536, 70_000)
    take = impulse(70_001, *((place, 2.0**-k) for k, place in enumerate(places)))
    path = write_float(tmp_path / "take.wav", take)
    out = tmp_path / "out.wav"
    assert tonebench("render", path, "straight", "-o", out) == 0
    assert (read_clip(out)[1][:, 0] == take).all()


@pytest.mark.parametrize("frames", [1, 2, 17, 4096, 65_536, 65_537])
def test_a_clip_is_as_long_as_its_take(
    tmp_path: Path, stage: Chain, frames: int
) -> None:
    path = write_float(tmp_path / "take.wav", noise(frames))
    done = render_take(Take(path), stage, {}, tmp_path / "clip.wav")
    assert done.frames == frames
    assert read_clip(tmp_path / "clip.wav")[1].shape == (frames, 1)


def test_nothing_comes_out_before_something_goes_in(
    tmp_path: Path, stage: Chain
) -> None:
    path = write_float(tmp_path / "take.wav", impulse(3000, (1234, 0.5)))
    clip = played(stage, path)[:, 0]
    assert not clip[:1234].any()
    assert clip[1234] != 0


# Blocks


@pytest.mark.parametrize("subtype", ["float", "pcm24", "pcm16"])
@pytest.mark.parametrize("channels", [1, 2])
def test_no_block_size_changes_a_byte(
    tmp_path: Path, stage: Chain, harness: Chain, subtype: str, channels: int
) -> None:
    take = write_float(tmp_path / "take.wav", noise(4100, channels))
    for number, chain in enumerate((stage, harness)):
        clips = []
        for size in (1, 17, 509, 65_536):
            clip = tmp_path / f"{number}-{size}.wav"
            render_take(Take(take), chain, {}, clip, subtype=subtype, block_frames=size)
            clips.append(clip.read_bytes())
        assert len(set(clips)) == 1


def test_no_block_size_changes_a_byte_of_a_take_longer_than_a_block(
    tmp_path: Path, stage: Chain
) -> None:
    take = write_float(tmp_path / "take.wav", noise(140_000))
    clips = []
    for size in (509, 65_536, 1_000_000):
        clip = tmp_path / f"{size}.wav"
        render_take(
            Take(take), stage, {}, clip, subtype="pcm24", trim=True, block_frames=size
        )
        clips.append(clip.read_bytes())
    assert len(set(clips)) == 1


def test_a_route_that_forgets_gives_the_same_again(harness: Chain) -> None:
    runner = RouteRunner(route(harness, {}, 48_000, 2))
    take = noise(1000, 2)
    once = runner.process(take)
    assert not np.array_equal(runner.process(take), once)  # it remembers
    runner.reset()
    assert np.array_equal(runner.process(take), once)


# Channels


def test_stereo_through_one_input_is_two_mono_renders(
    tmp_path: Path, stage: Chain
) -> None:
    take = noise(5000, 2)
    both = played(stage, write_float(tmp_path / "both.wav", take))
    for channel in (0, 1):
        mono = played(stage, write_float(tmp_path / "mono.wav", take[:, channel]))
        assert np.array_equal(both[:, channel], mono[:, 0])


def test_channels_drive_the_inputs_in_their_order_and_are_summed(
    tmp_path: Path,
) -> None:
    """Superposition: three equal resistors give (left + right)/3; left comes first."""
    text = MIXER.replace('"10k", across = ["r", "out"]', '"5k", across = ["r", "out"]')
    chain = join(read_circuit(drawn(tmp_path, "mixer", text)))
    take = np.stack([impulse(64, (10, 0.5)), impulse(64, (40, -0.25))], axis=1)
    clip = played(chain, write_float(tmp_path / "take.wav", take))
    # admittances 1 : 2 : 1 into the node, so left counts a quarter, right a half
    wanted = impulse(64, (10, 0.125), (40, -0.125))
    np.testing.assert_allclose(clip[:, 0], wanted, rtol=0, atol=FLOAT_STEP)


def test_mono_drives_all_inputs_and_says_so(tmp_path: Path, harness: Chain) -> None:
    sound = impulse(48_000, (0, 0.5))
    mono = write_float(tmp_path / "mono.wav", sound)
    twice = write_float(tmp_path / "twice.wav", np.stack([sound, sound], axis=1))
    hz = np.fft.rfftfreq(48_000, 1 / 48_000)
    heard = (hz >= 20) & (hz <= 20_000)
    alone, summed = (
        20 * np.log10(np.abs(np.fft.rfft(played(harness, take)[:, 0])[heard]))
        for take in (mono, twice)
    )
    np.testing.assert_allclose(alone, summed, rtol=0, atol=0.04)  # twice 0.02 dB
    done = render_take(Take(mono), harness, {}, tmp_path / "clip.wav")
    assert done.notices == ("one channel drives all inputs: neck, bridge",)
    assert done.channels == 1
    assert render_take(Take(twice), harness, {}, tmp_path / "clip-2.wav").notices == ()


def test_channels_that_fit_no_input_are_refused(
    tmp_path: Path, harness: Chain, stage: Chain
) -> None:
    take = write_float(tmp_path / "take.wav", noise(100, 3))
    with pytest.raises(AudioError, match=r"3 channels, but dunlin has 2 inputs"):
        render_take(Take(take), harness, {}, tmp_path / "clip.wav")
    assert names_in(tmp_path) == {"take.wav"}
    # one input takes any number of channels, each on its own
    assert render_take(Take(take), stage, {}, tmp_path / "clip.wav").channels == 3


# What stands around the circuit


def gains(clip: Real, rate: int, hz: list[float]) -> NDArray[np.complex128]:
    t = np.arange(len(clip)) / rate
    return np.array([np.exp(-2j * np.pi * f * t) @ clip for f in hz])


def test_what_stands_before_is_solved_together_with_the_circuit(tmp_path: Path) -> None:
    """Two low-passes without a buffer load each other: 1/(1 + 3sRC + s²R²C²)."""
    low_pass = drawn(tmp_path, "low-pass", LOW_PASS)
    second = drawn(tmp_path, "second", LOW_PASS)
    take = write_float(tmp_path / "take.wav", impulse(4800, (0, 0.5)))
    out = tmp_path / "clip.wav"
    assert tonebench("render", take, second, "--before", low_pass, "-o", out) == 0
    hz = [100.0, LOW_PASS_HZ, 5000.0]
    x = 1j * np.array(hz) / LOW_PASS_HZ
    got = gains(read_clip(out)[1][:, 0] / 0.5, 48_000, hz)
    joint = 1 / (1 + 3 * x + x**2)
    off_db = 20 * np.log10(np.abs(got / joint))
    np.testing.assert_allclose(off_db, 0, atol=0.02)
    apart_db = 20 * np.log10(np.abs(joint * (1 + x) ** 2))
    assert apart_db[1] == pytest.approx(-3.52, abs=0.01)  # 20 lg(2/3): far from apart


@pytest.mark.parametrize("place", ["floor", "onboard"])
def test_the_lead_is_at_the_pickup_on_the_floor_and_at_the_output_onboard(
    tmp_path: Path, place: str
) -> None:
    """A coil, 100 kΩ in series and a lead: two closed forms that differ widely."""
    text = """
        schema = 1
        input = "in"
        output = "out"
        [parts]
        R1 = { resistor = "100k", across = ["in", "out"] }
        R2 = { resistor = "1M", across = ["out", "gnd"] }
    """
    series = drawn(tmp_path, "series", text)
    coil = tmp_path / "coil.toml"
    coil.write_text(
        'schema = 1\n[pickup]\nresistance = "6k"\ninductance = "2H"\n'
        'capacitance = "100p"\n',
        encoding="utf-8",
    )
    take = write_float(tmp_path / "take.wav", impulse(9600, (0, 0.5)))
    words = ("--pickup", coil, "--cable", "1n", "--place", place, "--inner", "50p")
    out = tmp_path / "clip.wav"
    assert tonebench("render", take, series, "-o", out, *words) == 0
    hz = [100.0, 1000.0, 3000.0, 8000.0]
    s = 2j * np.pi * np.array(hz)
    source, at_coil, lead = 6e3 + 2 * s, s * 150e-12, s * 1e-9
    end = 1e-6 + (lead if place == "onboard" else 0)  # behind the 100 kΩ
    at_coil = at_coil + (lead if place == "floor" else 0)
    beyond = 1 / (1e5 + 1 / end)
    wanted = beyond / end / (1 + source * (at_coil + beyond))
    got = gains(read_clip(out)[1][:, 0] / 0.5, 48_000, hz)
    np.testing.assert_allclose(20 * np.log10(np.abs(got / wanted)), 0, atol=0.02)


# Levels and refusals


def test_gain_is_true_and_never_trimmed_unasked(tmp_path: Path) -> None:
    chain = join(read_circuit(drawn(tmp_path, "divider", DIVIDER)))
    take = write_float(tmp_path / "take.wav", impulse(50, (5, 8.0), (9, -0.5)))
    clip = played(chain, take)
    np.testing.assert_allclose(clip[[5, 9], 0], [4.0, -0.25], rtol=1e-7)
    done = render_take(Take(take), chain, {}, tmp_path / "clip.wav")
    assert done.trim_db == 0
    assert done.peak_dbfs == pytest.approx(20 * np.log10(4), abs=1e-9)


@pytest.mark.parametrize("subtype", ["pcm24", "pcm16"])
def test_over_full_scale_is_refused_for_integers_and_leaves_nothing(
    tmp_path: Path, subtype: str
) -> None:
    """A peak of 2 is 6.02 dB over full scale; it stands at frame 4800, 0.1 s."""
    take = write_float(tmp_path / "take.wav", impulse(9600, (4800, 2.0)))
    with pytest.raises(CheckFailed, match=r"6\.02 dB over full scale at 0\.100 s"):
        render_take(
            Take(take), join(STRAIGHT), {}, tmp_path / "clip.wav", subtype=subtype
        )
    assert names_in(tmp_path) == {"take.wav"}


@pytest.mark.parametrize(("subtype", "step"), [("pcm24", 2.0**-23), ("pcm16", 2e-4)])
def test_trim_turns_the_whole_clip_down_as_far_as_needed(
    tmp_path: Path, subtype: str, step: float
) -> None:
    samples = noise(9600) * 30  # up to 3
    samples[77] = 4.0
    take = write_float(tmp_path / "take.wav", samples)
    clip = tmp_path / "clip.wav"
    done = render_take(Take(take), join(STRAIGHT), {}, clip, subtype=subtype, trim=True)
    # 12.04 dB over, and 1 dB of room is common practice
    assert done.trim_db == pytest.approx(-20 * np.log10(4) - 1, abs=1e-9)
    assert done.peak_dbfs == pytest.approx(-1, abs=1e-4)
    wanted = samples * 10 ** (done.trim_db / 20)
    info, heard = read_take(clip)
    assert info.subtype == {"pcm24": "PCM_24", "pcm16": "PCM_16"}[subtype]
    np.testing.assert_allclose(heard, wanted, rtol=0, atol=step)


def test_trim_changes_nothing_that_fits(tmp_path: Path, stage: Chain) -> None:
    take = write_float(tmp_path / "take.wav", noise(3000))
    plain, trimmed = tmp_path / "plain.wav", tmp_path / "trimmed.wav"
    render_take(Take(take), stage, {}, plain, subtype="pcm24")
    assert (
        render_take(Take(take), stage, {}, trimmed, subtype="pcm24", trim=True).trim_db
        == 0
    )
    assert plain.read_bytes() == trimmed.read_bytes()


def test_a_volume_at_nothing_gives_silence_of_full_length(tmp_path: Path) -> None:
    chain = join(read_circuit(drawn(tmp_path, "volume", VOLUME)))
    take = write_float(tmp_path / "take.wav", noise(700))
    clip = tmp_path / "clip.wav"
    done = render_take(Take(take), chain, {"volume": 0}, clip)
    assert done.peak_dbfs == -np.inf
    assert read_clip(clip)[1].shape == (700, 1)
    assert not read_clip(clip)[1].any()


@pytest.mark.parametrize("link", ["same name", "symbolic link", "hard link"])
def test_a_take_is_never_written_over(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], link: str
) -> None:
    take = write_float(tmp_path / "take.wav", noise(500))
    before = take.read_bytes()
    target = take
    if link != "same name":
        target = tmp_path / "other.wav"
        make = target.symlink_to if link == "symbolic link" else target.hardlink_to
        make(take)
    words = ("render", take, "tern", "-o", target, "--force")
    assert "is the take itself" in refused(capsys, 2, *words)
    assert take.read_bytes() == before
    assert names_in(tmp_path) == {"take.wav", target.name}


def test_force_replaces_another_clip(tmp_path: Path) -> None:
    take = write_float(tmp_path / "take.wav", noise(500))
    clip = tmp_path / "clip.wav"
    clip.write_text("an older one", encoding="utf-8")
    assert tonebench("render", take, "straight", "-o", clip, "--force") == 0
    assert read_clip(clip)[1].shape == (500, 1)


def test_unknown_knobs_and_positions_are_refused_before_anything_is_read(
    tmp_path: Path,
) -> None:
    take = write_float(tmp_path / "take.wav", noise(10))
    chain = join(read_circuit("tern"))
    for setting in ({"tillt": 5}, {"tilt": 10.01}, {"tilt": float("nan")}):
        with pytest.raises(RequestError, match="tilt"):
            render_take(Take(take), chain, setting, tmp_path / "clip.wav")
    assert names_in(tmp_path) == {"take.wav"}


@pytest.mark.parametrize("trim", [False, True])
def test_progress_rises_to_all_of_it(tmp_path: Path, trim: bool) -> None:
    told: list[float] = []
    take = write_float(tmp_path / "take.wav", noise(1000))
    render_take(
        Take(take), join(STRAIGHT), {}, tmp_path / "clip.wav",
        trim=trim, block_frames=100, progress=told.append,
    )  # fmt: skip
    assert told == sorted(told)
    assert len(told) == (20 if trim else 10)
    assert told[-1] == 1


def test_a_pickup_may_stand_on_one_input_alone() -> None:
    coil = Pickup("coil", 6e3, 2.0, 1e-10)
    chain = join(read_circuit("dunlin"), Hookup({"neck": coil}, source_ohm=1e3))
    assert len(route(chain, {}, 48_000, 2).cascades) == 2
