/* SPDX-License-Identifier: MIT-0 */
/* What the kernel offers. Plain declarations, so that a binding can read this file too;
 * `const void *` samples are float or double, as the flag beside them says. */

#ifndef TB_KERNEL_H
#define TB_KERNEL_H
#include <stddef.h>

/* How to compute; the bytes of the results are the same. */
enum tb_path { TB_PATH_BEST = 0, TB_PATH_BASELINE = 1 };

/* Whether this processor runs the wide path (AVX2). */
int tb_has_wide_path(void);

/* ---- A bank: cascades of second-order sections, fed from columns of one input, summed
 * into outputs. Nothing is allocated after tb_bank_new. One thread at a time. */
typedef struct tb_bank tb_bank;

/* Voice v has counts[v] sections, from input_of[v] to output_of[v]; the sections of all
 * voices follow each other as rows b0 b1 b2 a0 a1 a2, a0 = 1. Voices of one output are
 * added in their order; an output without voices is silent. NULL when memory is short or
 * an index is out of range. */
tb_bank *tb_bank_new(int inputs, int outputs, int voices, const int *counts,
                     const double *sections, const int *input_of, const int *output_of);
void tb_bank_free(tb_bank *bank);
void tb_bank_reset(tb_bank *bank);

/* Filter frames. Frame n of input k stands at in[k] + n * in_step, of output k at
 * out[k] + n * out_step[k], counted in samples. Input and output may not overlap. */
void tb_bank_run(tb_bank *bank, const void *const *in, ptrdiff_t in_step, int in_is_float,
                 void *const *out, const ptrdiff_t *out_step, int out_is_float,
                 size_t frames, int path);

/* ---- A meter: levels, loudness and true peak of interleaved frames in one pass.
 * Nothing is allocated after tb_meter_new. One thread at a time. */
typedef struct tb_meter tb_meter;

enum tb_measure { TB_LEVEL = 1, TB_LOUDNESS = 2, TB_TRUE_PEAK = 4 };

/* `segments_a_second` (an even number) is how finely loudness is kept. `measures` is a
 * sum of the above. `weighting` has an input and an output for every
 * channel, must outlive the meter, and may be NULL without TB_LOUDNESS. `taps` are 12
 * times 4: for each sample back in time, its weight in each phase. NULL when memory is
 * short. */
tb_meter *tb_meter_new(int channels, int sample_rate_hz, int segments_a_second,
                       int measures, tb_bank *weighting, const double *taps);
void tb_meter_free(tb_meter *meter);

/* The number of loudness segments that end within the next frames. */
size_t tb_meter_ending(const tb_meter *meter, size_t frames);

/* Take frames in; write every ended segment's weighted sums of squares, one a channel.
 * Gives -1; or the first frame with a sample that isn't finite, and takes nothing in. */
ptrdiff_t tb_meter_feed(tb_meter *meter, const void *in, int in_is_float, size_t frames,
                        double *ended, int path);

/* The largest absolute sample; the same of the interpolated ones, as if silence followed,
 * and never below it (the level must be measured too). */
double tb_meter_peak(const tb_meter *meter);
double tb_meter_true_peak(const tb_meter *meter);

/* The sum of squares over all frames and channels. */
double tb_meter_squares(const tb_meter *meter);

#endif
