# SPDX-License-Identifier: GPL-3.0-or-later
"""A take that says what loaded it, rendered: exact the whole way from file to file.

What the recorder got is made by multiplying spectra by closed forms, not by any filter
of ours; so is what must come out.
"""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from commands import asked, drawn, refused, tonebench
from loaded_pickup import BRIGHT, LARGE, SMALL, Coil, write_take_file
from numpy.typing import NDArray
from sounds import RATE, impulse, noise, read_clip, write_float

from tonebench.audio.take import Take
from tonebench.circuit.files import read_circuit, read_pickup
from tonebench.circuit.hookup import Hookup, join
from tonebench.render.route import route

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]
Capsys = pytest.CaptureFixture[str]
Response = Callable[[Real], Complex]

#: What a render promises from 20 Hz to 20 kHz.
PROMISED_DB = 0.02
#: A resistor into a capacitor across a resistor: in no way buffered from the pickup.
BOX = """
schema = 1
input = "in"
output = "out"
[parts]
R1 = { resistor = "27k", across = ["in", "out"] }
C1 = { capacitor = "3n3", across = ["out", "gnd"] }
R2 = { resistor = "150k", across = ["out", "gnd"] }
"""
RECORDED = ("[recorded]", 'pickup = "small"', 'cable = "700p"', 'load = "1M"')


def old(hz: Real) -> Complex:
    """Return the small coil on 700 pF and 1 MΩ, as in `RECORDED`."""
    return SMALL.loaded(hz, 700e-12, 1e6)


def boxed(coil: Coil, lead: float) -> Response:
    """Return a coil on a lead into `BOX`, in closed form."""

    def total(hz: Real) -> Complex:
        s = 2j * np.pi * hz
        end = s * 3.3e-9 + 1 / 150e3
        beyond = 27e3 + 1 / end
        return np.asarray(coil.on(hz, s * lead + 1 / beyond) / end / beyond)

    return total


def through(samples: Real, response: Response, rate: int) -> Real:
    """Multiply a sound's spectrum by a response."""
    hz = np.fft.rfftfreq(len(samples), 1 / rate)
    return np.fft.irfft(np.fft.rfft(samples) * response(hz), len(samples))


def faded(samples: Real, rate: int) -> Real:
    """Take out what is above 21 kHz, so that no spectrum ends with a step.

    Then what is multiplied rings out within the sound, before it and behind it.
    """

    def fade(hz: Real) -> Complex:
        share = np.clip((hz - 20e3) / (21.5e3 - 20e3), 0, 1)
        return np.cos(np.pi / 2 * share) ** 2 + 0j

    return through(samples, fade, rate)


def click(rate: int) -> Real:
    """Return a band-limited impulse, well inside silence."""
    return faded(impulse(32_768, (12_000, 0.5)), rate)


def plucked(rate: int) -> Real:
    """Return seeded noise that dies away, well inside silence."""
    t = np.arange(48_000) / rate
    values = np.random.default_rng(11).normal(0, 0.02, len(t))
    values *= np.exp(-12 * t) * np.minimum(1, t / 1e-3)
    return faded(np.concatenate([np.zeros(8_000), values, np.zeros(9_536)]), rate)


def off_db(got: Real, wanted: Real, rate: int) -> Real:
    """Return by how much the magnitudes of two sounds differ, 20 Hz to 20 kHz."""
    hz = np.fft.rfftfreq(len(wanted), 1 / rate)
    heard = (hz >= 20) & (hz <= 20_000)
    assert len(got) == len(wanted)
    ratio = np.fft.rfft(got)[heard] / np.fft.rfft(wanted)[heard]
    return np.asarray(20 * np.log10(np.abs(ratio)))


@pytest.fixture
def desk(tmp_path: Path) -> Path:
    """Return a folder with three coils and a box."""
    for coil in (SMALL, LARGE, BRIGHT):
        coil.written(tmp_path)
    drawn(tmp_path, "box", BOX)
    return tmp_path


def recorded_take(desk: Path, voltage: Real, response: Response, rate: int) -> Path:
    """Write what a recorder gets from a pickup's own voltage, with its take file."""
    take = write_float(desk / "take.wav", through(voltage, response, rate), rate)
    write_take_file(take, *RECORDED)
    return take


def rendered(desk: Path, take: Path, circuit: object, *words: object) -> Real:
    out = desk / "clip.wav"
    assert tonebench("render", take, circuit, "-o", out, "--force", *words) == 0
    return read_clip(out)[1][:, 0]


# Back to the pickup's own voltage, and on through another chain


@pytest.mark.parametrize("rate", [44_100, 48_000])
@pytest.mark.parametrize("sound", [click, plucked])
@pytest.mark.parametrize("coil", [SMALL, LARGE, BRIGHT], ids=lambda coil: coil.name)
def test_a_take_comes_out_as_from_the_pickups_own_voltage(
    desk: Path, rate: int, sound: Callable[[int], Real], coil: Coil
) -> None:
    """H_total of the voltage itself, by multiplied spectra: the old load is gone."""
    voltage, total = sound(rate), boxed(coil, 350e-12)
    take = recorded_take(desk, voltage, old, rate)
    words = ("--pickup", desk / f"{coil.name}.toml", "--cable", "350p")
    got = rendered(desk, take, desk / "box.toml", *words)
    wanted = through(voltage, total, rate)
    assert np.abs(off_db(got, wanted, rate)).max() < PROMISED_DB
    # and it matters: left in, the old load would be heard
    twice = through(read_clip(take)[1][:, 0], total, rate)
    assert np.abs(off_db(twice, wanted, rate)).max() > 3


@pytest.mark.parametrize("rate", [44_100, 48_000])
def test_the_recorded_pickup_is_meant_when_none_is_named(desk: Path, rate: int) -> None:
    voltage = click(rate)
    take = recorded_take(desk, voltage, old, rate)
    got = rendered(desk, take, desk / "box.toml", "--cable", "350p")
    wanted = through(voltage, boxed(SMALL, 350e-12), rate)
    assert np.abs(off_db(got, wanted, rate)).max() < PROMISED_DB


@pytest.mark.parametrize("rate", [44_100, 48_000])
def test_what_stood_before_the_recorder_is_taken_out_too(desk: Path, rate: int) -> None:
    """The box stood before the recorder's lead: the box with 200 pF at its end."""

    def through_box(hz: Real) -> Complex:
        s = 2j * np.pi * hz
        end = s * (3.3e-9 + 200e-12) + 1 / 150e3
        beyond = 27e3 + 1 / end
        return np.asarray(SMALL.on(hz, 1 / beyond) / end / beyond)

    voltage = click(rate)
    take = recorded_take(desk, voltage, through_box, rate)
    write_take_file(
        take, "[recorded]", 'pickup = "small"', 'cable = "200p"', 'before = "box"'
    )
    words = ("--pickup", desk / "large.toml", "--cable", "700p", "--load", "1M")
    got = rendered(desk, take, "straight", *words)
    wanted = through(voltage, lambda hz: LARGE.loaded(hz, 700e-12, 1e6), rate)
    assert np.abs(off_db(got, wanted, rate)).max() < PROMISED_DB


def test_the_hookup_it_was_recorded_with_gives_back_every_sample(desk: Path) -> None:
    take = write_float(desk / "take.wav", noise(5000, 2))
    write_take_file(take, *RECORDED)
    out = desk / "clip.wav"
    words = ("render", take, "straight", "-o", out, "--cable", "700p", "--load", "1M")
    assert tonebench(*words) == 0
    np.testing.assert_allclose(read_clip(out)[1], read_clip(take)[1], rtol=1e-6)


def test_curves_never_divide(desk: Path, capsys: Capsys) -> None:
    """They are of the circuit and what stands around it; a take is not in them."""
    words = ("curves", "straight", "--pickup", desk / "small.toml", "--cable", "700p")
    (curve,) = asked(capsys, *words, "--load", "1M", "--at", "100,5000")["curves"]
    wanted_db = 20 * np.log10(np.abs(old(np.array([100.0, 5000.0]))))
    np.testing.assert_allclose(curve["gain_db"], wanted_db, rtol=0, atol=1e-9)


# Channels


def test_each_channel_is_freed_of_its_own_load(desk: Path) -> None:
    """Two coils, two channels, one new coil for both: closed forms for each."""
    voltage = click(RATE)
    sounds = [
        through(voltage, lambda hz, c=coil: c.loaded(hz, 700e-12, 1e6), RATE)  # type: ignore[misc]
        for coil in (LARGE, SMALL)
    ]
    take = write_float(desk / "take.wav", np.stack(sounds, axis=1))
    lines = ("[recorded]", 'pickup = { one = "large", two = "small" }', *RECORDED[2:])
    write_take_file(take, *lines)
    out = desk / "clip.wav"
    words = ("--pickup", desk / "bright.toml", "--cable", "350p", "-o", out)
    assert tonebench("render", take, desk / "box.toml", *words) == 0
    wanted = through(voltage, boxed(BRIGHT, 350e-12), RATE)
    for channel in read_clip(out)[1].T:
        assert np.abs(off_db(channel, wanted, RATE)).max() < PROMISED_DB


TWO_INPUTS = """
schema = 1
output = "out"
[inputs.neck]
node = "n"
[inputs.bridge]
node = "b"
[parts]
R1 = { resistor = "220k", across = ["n", "out"] }
R2 = { resistor = "100k", across = ["b", "out"] }
R3 = { resistor = "470k", across = ["out", "gnd"] }
"""


@pytest.mark.parametrize("name", ["neck", "bridge"])
@pytest.mark.parametrize("order", [("neck", "bridge"), ("bridge", "neck")])
def test_pickups_go_to_the_inputs_of_their_names_in_any_order_of_writing(
    desk: Path, name: str, order: tuple[str, str]
) -> None:
    """One coil sounds, in closed form; the other is at rest, and a load."""
    coils = {"neck": LARGE, "bridge": SMALL}
    own, other = coils[name], coils["bridge" if name == "neck" else "neck"]
    to_own, to_other = (220e3, 100e3) if name == "neck" else (100e3, 220e3)

    def total(hz: Real) -> Complex:
        s = 2j * np.pi * hz
        at_rest = 1 / (other.ohm + s * other.henry) + s * other.farad
        at_rest = to_other + 1 / (at_rest + 1 / other.losses_ohm)
        end = 1 / 470e3 + 1 / at_rest
        beyond = to_own + 1 / end
        return np.asarray(own.on(hz, 1 / beyond) / end / beyond)

    voltage = click(RATE)
    played = through(voltage, lambda hz: own.loaded(hz, 700e-12, 1e6), RATE)
    channels = [played if name == where else 0 * played for where in coils]
    take = write_float(desk / "take.wav", np.stack(channels, axis=1))
    named = ", ".join(f'{where} = "{coils[where].name}"' for where in order)
    write_take_file(take, "[recorded]", f"pickup = {{ {named} }}", *RECORDED[2:])
    got = rendered(desk, take, drawn(desk, "mixer", TWO_INPUTS))
    wanted = through(voltage, total, RATE)
    assert np.abs(off_db(got, wanted, RATE)).max() < PROMISED_DB


def test_two_pickups_and_one_channel_contradict_each_other(
    desk: Path, capsys: Capsys
) -> None:
    take = write_float(desk / "take.wav", noise(100))
    lines = ("[recorded]", 'pickup = { one = "large", two = "small" }')
    write_take_file(take, *lines)
    before = sorted(desk.iterdir())
    words = ("render", take, "straight", "-o", desk / "clip.wav", "--pickup", "sedge")
    told = refused(capsys, 3, *words)
    assert told == "take.wav: its take file names 2 pickups, but it has 1 channel"
    words = ("compare", "--a", "tern", "--b", "plover", "--take", take, "--pickup")
    told = refused(capsys, 3, *words, "sedge", "-o", desk / "out")
    assert told == "take.wav: its take file names 2 pickups, but it has 1 channel"
    assert sorted(desk.iterdir()) == before


def test_a_take_recorded_through_a_box_is_taken_back_to_the_pickup(
    desk: Path,
) -> None:
    take = write_float(desk / "take.wav", noise(100))
    write_take_file(take, *RECORDED, 'before = "tern"')
    for name in ("straight", "tern"):
        assert tonebench("render", take, name, "-o", desk / f"{name}.wav") == 0


# The treble that comes up, and the hiss with it


def lift_db(new: Response, taken_out: Response) -> tuple[float, float]:
    """Return the largest treble gain against 500 Hz, 2 to 20 kHz, and where it is."""
    hz = np.geomspace(2e3, 20e3, 4001)
    ratio = np.abs(new(hz) / taken_out(hz))
    middle = np.array([500.0])
    gain_db = 20 * np.log10(ratio / np.abs(new(middle) / taken_out(middle)))
    most = int(np.argmax(gain_db))
    return float(gain_db[most]), float(hz[most])


def notices(desk: Path, capsys: Capsys, *words: object) -> list[str]:
    """Render and return what is told beyond what the take counts as."""
    out = desk / "clip.wav"
    told = asked(capsys, "render", desk / "take.wav", *words, "-o", out, "--force")
    counted, *more = told["notices"]
    assert counted.startswith("what loaded the take is taken out: ")
    return list(more)


@pytest.mark.parametrize("lead", [400, 600, 800, 1000, 1500, 2500])
def test_much_treble_is_told_with_its_place_and_its_amount(
    desk: Path, capsys: Capsys, lead: int
) -> None:
    """From a longer lead on the recorder to a short one: the closed form decides."""
    write_float(desk / "take.wav", noise(100))
    lines = ('pickup = "small"', f'cable = "{lead}p"', 'load = "1M"')
    write_take_file(desk / "take.wav", "[recorded]", *lines)
    words = ("straight", "--cable", "300p", "--load", "1M")
    much_db, where_hz = lift_db(
        lambda hz: SMALL.loaded(hz, 300e-12, 1e6),
        lambda hz: SMALL.loaded(hz, lead * 1e-12, 1e6),
    )
    assert abs(much_db - 12) > 0.5  # the case is clear
    told = notices(desk, capsys, *words)
    assert bool(told) == (much_db > 12)
    for line in told:
        start, _, end = line.partition(" rises by ")
        amount, _, rest = end.partition(" dB against 500 Hz; ")
        assert rest == "the take's hiss rises with it"
        opening = "from the take to this clip, with the old load taken out, "
        place = start.removeprefix(opening)
        number, unit = place.split()
        told_hz = float(number) * {"Hz": 1, "kHz": 1e3}[unit]
        # 60 points of 2 to 20 kHz stand 4 % apart; a peak is found that well
        assert told_hz == pytest.approx(where_hz, rel=0.025)
        assert float(amount) == pytest.approx(much_db, abs=0.35)
    assert len(told) <= 1


def test_the_limit_is_at_12_db(desk: Path) -> None:
    """Just above and just below, by a lead chosen from the closed form."""
    sure_db = 0.4  # how far a peak can lie between the points that are looked at

    def lifted(lead: float) -> float:
        new = lambda hz: SMALL.loaded(hz, 300e-12, 1e6)  # noqa: E731
        return lift_db(new, lambda hz: SMALL.loaded(hz, lead, 1e6))[0]

    leads = np.linspace(300e-12, 2e-9, 400)
    lifts = np.array([lifted(lead) for lead in leads])
    below = leads[lifts < 12][-1]
    above = leads[lifts > 12 + sure_db][0]
    coil = {"": read_pickup(desk / "small.toml")}
    now = join(
        read_circuit("straight"), Hookup(coil, cable_farad=300e-12, load_ohm=1e6)
    )
    told = [
        route(
            now,
            {},
            RATE,
            1,
            Take(Path("t.wav"), recorded=Hookup(coil, cable_farad=lead, load_ohm=1e6)),
        ).notices
        for lead in (below, above)
    ]
    assert [len(lines) for lines in told] == [0, 1]


def test_the_most_lifted_channel_is_told_and_no_other(
    desk: Path, capsys: Capsys
) -> None:
    write_float(desk / "take.wav", noise(100, 2))
    lines = ('pickup = { one = "small", two = "large" }', 'cable = "2n"', 'load = "1M"')
    write_take_file(desk / "take.wav", "[recorded]", *lines)
    words = ("straight", "--pickup", desk / "bright.toml", "--load", "1M")
    (told,) = [x for x in notices(desk, capsys, *words) if "old load" in x]
    new = lambda hz: BRIGHT.loaded(hz, 0, 1e6)  # noqa: E731
    most = max(
        lift_db(new, lambda hz, c=coil: c.loaded(hz, 2e-9, 1e6))[0]  # type: ignore[misc]
        for coil in (SMALL, LARGE)
    )
    amount = told.partition("rises by ")[2].partition(" dB")[0]
    assert float(amount) == pytest.approx(most, abs=0.35)


def test_a_take_of_which_nothing_is_known_is_told_of_nothing(
    desk: Path, capsys: Capsys
) -> None:
    write_float(desk / "take.wav", noise(100))
    words = ("render", desk / "take.wav", "straight", "-o", desk / "clip.wav")
    told = asked(capsys, *words)["notices"]
    assert told == ["the take counts as the source's own voltage"]


def test_treble_that_only_falls_is_not_told(desk: Path, capsys: Capsys) -> None:
    write_float(desk / "take.wav", noise(100))
    write_take_file(desk / "take.wav", *RECORDED)
    assert notices(desk, capsys, "straight", "--cable", "3n", "--load", "47k") == []
