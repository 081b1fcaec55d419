# SPDX-License-Identifier: GPL-3.0-or-later
"""The kernel's two things, bank and meter, as typed Python objects.

Hands arrays over by address, and lets go of Python's lock while the kernel works. Their
users must have checked shapes, and made samples of blocks: nothing here does.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tonebench.digital.kernel.engine import Engine, compiled

Real = NDArray[np.float64]


def as_samples(block: ArrayLike) -> NDArray[Any]:
    """Return a block as the kernel reads it: float32 as it is, all else as float64."""
    samples = np.asarray(block)
    kind = np.float32 if samples.dtype == np.float32 else np.float64
    return np.require(samples, kind, ["C_CONTIGUOUS", "ALIGNED"])


def _parts(engine: Engine) -> tuple[Any, Any, int]:
    """Return the compiled module's two names, and the path that the engine means."""
    module: Any = compiled()
    lib = module.lib
    is_wide = engine is Engine.WIDE
    return module.ffi, lib, lib.TB_PATH_BEST if is_wide else lib.TB_PATH_BASELINE


class KernelBank:
    """Cascades fed from columns of one input, summed into outputs.

    Parameters
    ----------
    engine : Engine
        One of the kernel's two.
    inputs, outputs : int
        How many columns come in, and how many outputs there are.
    voices : sequence of (sections, input, output)
        Sections of shape (n, 6), the column that they hear, the output they add to.
    """

    def __init__(
        self,
        engine: Engine,
        inputs: int,
        outputs: int,
        voices: Sequence[tuple[Real, int, int]],
    ) -> None:
        self._ffi, self._lib, self._path = _parts(engine)
        rows = [np.asarray(sections).reshape(-1, 6) for sections, _, _ in voices]
        flat = np.ascontiguousarray(np.concatenate([np.empty((0, 6)), *rows]))
        bank = self._lib.tb_bank_new(
            inputs,
            outputs,
            len(voices),
            [len(sections) for sections in rows],
            self._ffi.from_buffer("double[]", flat),
            [source for _, source, _ in voices],
            [target for _, _, target in voices],
        )
        if bank == self._ffi.NULL:
            raise MemoryError("no memory for a bank of filters")
        self.pointer = self._ffi.gc(bank, self._lib.tb_bank_free)
        self._in = self._ffi.new("const void *[]", inputs)
        self._out = self._ffi.new("void *[]", outputs)
        self._steps = self._ffi.new("ptrdiff_t[]", outputs)

    def run(self, block: NDArray[Any], outputs: Sequence[NDArray[Any]]) -> None:
        """Filter a block (frames, inputs) into one column per output.

        The block comes from `as_samples`; the columns are all float32 or all float64,
        and may be columns of wider arrays.
        """
        ffi = self._ffi
        start, width = ffi.from_buffer(block), block.itemsize
        for k in range(block.shape[1]):
            self._in[k] = start + k * width
        for k, column in enumerate(outputs):
            address = column.__array_interface__["data"][0]
            self._out[k] = ffi.cast("void *", address)
            self._steps[k] = column.strides[0] // column.itemsize
        self._lib.tb_bank_run(
            self.pointer,
            self._in,
            block.shape[1],
            width == 4,
            self._out,
            self._steps,
            bool(outputs) and outputs[0].itemsize == 4,
            len(block),
            self._path,
        )

    def reset(self) -> None:
        """Forget all that was heard."""
        self._lib.tb_bank_reset(self.pointer)


class KernelMeter:
    """Levels, loudness segments and true peak of a stream, in one pass.

    Parameters
    ----------
    engine : Engine
        One of the kernel's two.
    channels, sample_rate_hz : int
        The stream's.
    segments_a_second : int
        How finely loudness is kept; an even number.
    weighting : ndarray, shape (2, 6), optional
        The sections before the loudness segments; without them there are none.
    taps : ndarray, shape (12, 4), optional
        The interpolation for the true peak; without it there is none.
    """

    def __init__(
        self,
        engine: Engine,
        channels: int,
        sample_rate_hz: int,
        segments_a_second: int,
        weighting: Real | None,
        taps: Real | None,
    ) -> None:
        self._ffi, self._lib, self._path = _parts(engine)
        self._channels = channels
        measures, bank = self._lib.TB_LEVEL, self._ffi.NULL
        if weighting is not None:
            voices = [(weighting, k, k) for k in range(channels)]
            self._weighting = KernelBank(engine, channels, channels, voices)
            bank = self._weighting.pointer
            measures |= self._lib.TB_LOUDNESS
        if taps is not None:
            measures |= self._lib.TB_TRUE_PEAK
        flat = np.ascontiguousarray(np.zeros((12, 4)) if taps is None else taps)
        meter = self._lib.tb_meter_new(
            channels,
            sample_rate_hz,
            segments_a_second,
            measures,
            bank,
            self._ffi.from_buffer("double[]", flat),
        )
        if meter == self._ffi.NULL:
            raise MemoryError("no memory for a meter")
        self._meter = self._ffi.gc(meter, self._lib.tb_meter_free)

    def feed(self, block: NDArray[Any]) -> Real | None:
        """Take a block of shape (frames, channels), from `as_samples`, in.

        Return the sums of squares of the segments that ended, shape (n, channels); None
        if a sample isn't finite: then nothing was taken in.
        """
        ending = self._lib.tb_meter_ending(self._meter, len(block))
        ended = np.empty((ending, self._channels))
        bad = self._lib.tb_meter_feed(
            self._meter,
            self._ffi.from_buffer(block),
            block.itemsize == 4,
            len(block),
            self._ffi.from_buffer("double[]", ended),
            self._path,
        )
        return ended if bad < 0 else None

    @property
    def peak(self) -> float:
        """The largest absolute sample."""
        return float(self._lib.tb_meter_peak(self._meter))

    @property
    def true_peak(self) -> float:
        """The largest absolute value on and between the samples."""
        return float(self._lib.tb_meter_true_peak(self._meter))

    @property
    def squares(self) -> float:
        """The sum of squares over all frames and channels."""
        return float(self._lib.tb_meter_squares(self._meter))
