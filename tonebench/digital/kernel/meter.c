/* SPDX-License-Identifier: MIT-0 */
/* Levels, loudness and true peak in one pass, a chunk of rows at a time.
 *
 * Sums of squares are taken over segments counted from the start of the stream, in four
 * strands by the frame's place in its segment: so they don't depend on the blocks. */

#include <math.h>
#include <stdint.h>
#include <string.h>

#include "kernel.h"

#include "memory.h"

#define CHUNK 1024
#define TAPS 12  /* of each phase */
#define PHASES 4 /* ITU-R BS.1770-5, Annex 2 */
#define BEFORE (TAPS - 1)
#define PIECE 32 /* frames that are tried at once for a new true peak */
#define STRANDS 4
#define LEVEL_SEGMENT 4096

typedef struct {
    double strand[STRANDS];
} squares;

typedef struct {
    double sound[BEFORE + CHUNK]; /* the last frames of the chunk before, the chunk */
    double weighted[CHUNK];
    squares level, loudness; /* of the unfinished segments */
    double finished;         /* sum over the finished level segments */
} channel;

struct tb_meter {
    void *memory; /* all that follows, as it was allocated */
    int channels, rate, measures;
    int segments; /* of loudness, in a second */
    uint64_t frames;
    uint64_t segment; /* the number of the loudness segment that is going on */
    double peak, true_peak;
    double taps[TAPS][PHASES];
    double most_gain; /* what the taps can make of a sample at most */
    tb_bank *weighting;
    channel *channel;
    const void **sound; /* for the bank, one a channel */
    void **weighted;
    ptrdiff_t *steps;
};

static double total(const squares *sums)
{
    return (sums->strand[0] + sums->strand[1]) + (sums->strand[2] + sums->strand[3]);
}

static void add_squares(squares *sums, size_t place, const double *row, size_t frames)
{
    double s0, s1, s2, s3;
    size_t n = 0;

    for (; n < frames && (place + n) % STRANDS; n++)
        sums->strand[(place + n) % STRANDS] += row[n] * row[n];
    s0 = sums->strand[0], s1 = sums->strand[1];
    s2 = sums->strand[2], s3 = sums->strand[3];
    for (; n + STRANDS <= frames; n += STRANDS) {
        s0 += row[n] * row[n];
        s1 += row[n + 1] * row[n + 1];
        s2 += row[n + 2] * row[n + 2];
        s3 += row[n + 3] * row[n + 3];
    }
    *sums = (squares){{s0, s1, s2, s3}};
    for (; n < frames; n++)
        sums->strand[(place + n) % STRANDS] += row[n] * row[n];
}

static double larger(double a, double b)
{
    return a > b ? a : b;
}

static double largest(const double *row, size_t frames)
{
    double most[STRANDS] = {0, 0, 0, 0};
    size_t n = 0;

    for (; n + STRANDS <= frames; n += STRANDS)
        for (int k = 0; k < STRANDS; k++)
            most[k] = larger(fabs(row[n + k]), most[k]);
    for (; n < frames; n++)
        most[0] = larger(fabs(row[n]), most[0]);
    return larger(larger(most[0], most[1]), larger(most[2], most[3]));
}

/* ---- True peak */

typedef double two __attribute__((vector_size(16))); /* phases */
typedef long long two_bits __attribute__((vector_size(16)));

static two larger_of_two(two a, two b)
{
    const two_bits is_a = a > b;
    return (two)((is_a & (two_bits)a) | (~is_a & (two_bits)b));
}

static two magnitude(two x)
{
    return (two)((two_bits)x & INT64_MAX);
}

/* The largest of the interpolated samples; row[-11] to row[frames - 1] are there. */
static double largest_between(const tb_meter *meter, const double *row, size_t frames)
{
    two most = {0, 0};

    for (size_t n = 0; n < frames; n++) {
        two first = {0, 0}, second = {0, 0};
#pragma GCC unroll 12
        for (int k = 0; k < TAPS; k++) {
            const double x = row[(ptrdiff_t)n - k], *weight = meter->taps[k];
            first += (two){weight[0], weight[1]} * x;
            second += (two){weight[2], weight[3]} * x;
        }
        most = larger_of_two(magnitude(first), most);
        most = larger_of_two(magnitude(second), most);
    }
    return larger(most[0], most[1]);
}

/* Pieces that are too quiet to hold a new peak are passed over: this changes nothing. */
static void seek_true_peak(tb_meter *meter, channel *channel, size_t frames)
{
    const double *row = channel->sound + BEFORE;
    double past = largest(channel->sound, BEFORE);

    for (size_t first = 0; first < frames; first += PIECE) {
        const size_t count = frames - first < PIECE ? frames - first : PIECE;
        const double here = largest(row + first, count);
        if (larger(past, here) * meter->most_gain > meter->true_peak)
            meter->true_peak =
                larger(largest_between(meter, row + first, count), meter->true_peak);
        past = here; /* a piece that isn't whole is the last */
    }
    memmove(channel->sound, row + frames - BEFORE, BEFORE * sizeof *row);
}

/* ---- Setting up */

tb_meter *tb_meter_new(int channels, int sample_rate_hz, int segments_a_second,
                       int measures, tb_bank *weighting, const double *taps)
{
    tb_block block = {NULL, NULL, 0};
    tb_meter *meter;

    for (;;) {
        meter = tb_taken(&block, sizeof *meter);
        channel *channel = tb_taken(&block, channels * sizeof *channel);
        const void **sound = tb_taken(&block, channels * sizeof *sound);
        void **weighted = tb_taken(&block, channels * sizeof *weighted);
        ptrdiff_t *steps = tb_taken(&block, channels * sizeof *steps);
        if (meter) {
            meter->memory = block.memory;
            meter->channel = channel;
            meter->sound = sound;
            meter->weighted = weighted;
            meter->steps = steps;
            break;
        }
        if (!tb_allocate(&block))
            return NULL;
    }
    meter->channels = channels;
    meter->rate = sample_rate_hz;
    meter->segments = segments_a_second;
    meter->measures = measures;
    meter->weighting = weighting;
    for (int c = 0; c < channels; c++) {
        meter->sound[c] = meter->channel[c].sound + BEFORE;
        meter->weighted[c] = meter->channel[c].weighted;
        meter->steps[c] = 1;
    }
    memcpy(meter->taps, taps, sizeof meter->taps);
    for (int p = 0; p < PHASES; p++) {
        double gain = 1e-12; /* more than rounding takes */
        for (int k = 0; k < TAPS; k++)
            gain += fabs(meter->taps[k][p]);
        meter->most_gain = larger(gain, meter->most_gain);
    }
    return meter;
}

void tb_meter_free(tb_meter *meter)
{
    if (meter)
        free(meter->memory);
}

/* ---- Running */

/* The first frame of a loudness segment: the nearest one, halves rounded up. */
static uint64_t start_of(const tb_meter *meter, uint64_t k)
{
    return (k * meter->rate + meter->segments / 2) / meter->segments;
}

size_t tb_meter_ending(const tb_meter *meter, size_t frames)
{
    uint64_t k = meter->segment;

    if (!(meter->measures & TB_LOUDNESS))
        return 0;
    while (start_of(meter, k + 1) <= meter->frames + frames)
        k++;
    return k - meter->segment;
}

/* The first sample that isn't finite, or `samples`. Such a one leaves no 0 behind. */
static size_t first_bad(const void *in, int is_float, size_t samples)
{
    const float *narrow = in;
    const double *wide = in;
    size_t n = 0;

    while (n < samples) {
        const size_t end = samples - n < CHUNK ? samples : n + CHUNK;
        double left[STRANDS] = {0, 0, 0, 0};
        size_t k = n;
        for (; k + STRANDS <= end; k += STRANDS)
            for (int s = 0; s < STRANDS; s++) {
                const double x = is_float ? narrow[k + s] : wide[k + s];
                left[s] += x - x;
            }
        for (; k < end; k++) {
            const double x = is_float ? narrow[k] : wide[k];
            left[0] += x - x;
        }
        if (left[0] + left[1] + left[2] + left[3] != 0)
            break;
        n = end;
    }
    for (; n < samples; n++)
        if (!isfinite(is_float ? narrow[n] : wide[n]))
            break;
    return n;
}

static void fetch(double *row, const void *in, int is_float, size_t first, int step,
                  size_t frames)
{
    if (is_float)
        for (size_t n = 0; n < frames; n++)
            row[n] = ((const float *)in)[first + n * step];
    else
        for (size_t n = 0; n < frames; n++)
            row[n] = ((const double *)in)[first + n * step];
}

static void level(tb_meter *meter, channel *channel, size_t frames)
{
    const double *row = channel->sound + BEFORE;

    for (size_t n = 0; n < frames;) {
        const size_t place = (meter->frames + n) % LEVEL_SEGMENT;
        const size_t room = LEVEL_SEGMENT - place;
        const size_t count = frames - n < room ? frames - n : room;
        add_squares(&channel->level, place, row + n, count);
        if (count == room) {
            channel->finished += total(&channel->level);
            channel->level = (squares){{0}};
        }
        n += count;
    }
}

/* Write the sums of the segments that end in this chunk, `channels` apart. */
static void loudness(tb_meter *meter, channel *channel, size_t frames, double *ended)
{
    uint64_t k = meter->segment;

    for (size_t n = 0; n < frames;) {
        const uint64_t now = meter->frames + n;
        const size_t room = start_of(meter, k + 1) - now;
        const size_t count = frames - n < room ? frames - n : room;
        add_squares(&channel->loudness, now - start_of(meter, k), channel->weighted + n,
                    count);
        if (count == room) {
            *ended = total(&channel->loudness);
            ended += meter->channels;
            channel->loudness = (squares){{0}};
            k++;
        }
        n += count;
    }
}

ptrdiff_t tb_meter_feed(tb_meter *meter, const void *in, int in_is_float, size_t frames,
                        double *ended, int path)
{
    const int channels = meter->channels;
    const size_t bad = first_bad(in, in_is_float, frames * channels);

    if (bad < frames * channels)
        return bad / channels;
    for (size_t first = 0; first < frames; first += CHUNK) {
        const size_t count = frames - first < CHUNK ? frames - first : CHUNK;
        const size_t ending = tb_meter_ending(meter, count);
        for (int c = 0; c < channels; c++)
            fetch(meter->channel[c].sound + BEFORE, in, in_is_float, first * channels + c,
                  channels, count);
        if (meter->measures & TB_LOUDNESS) {
            tb_bank_run(meter->weighting, meter->sound, 1, 0, meter->weighted,
                        meter->steps, 0, count, path);
            for (int c = 0; c < channels; c++)
                loudness(meter, &meter->channel[c], count, ended + c);
            ended += ending * channels;
        }
        for (int c = 0; c < channels; c++) {
            channel *channel = &meter->channel[c];
            if (meter->measures & TB_LEVEL) {
                meter->peak =
                    larger(largest(channel->sound + BEFORE, count), meter->peak);
                level(meter, channel, count);
            }
            if (meter->measures & TB_TRUE_PEAK)
                seek_true_peak(meter, channel, count);
        }
        meter->frames += count;
        meter->segment += ending;
    }
    return -1;
}

/* ---- Reading */

double tb_meter_peak(const tb_meter *meter)
{
    return meter->peak;
}

double tb_meter_true_peak(const tb_meter *meter)
{
    double most = meter->true_peak;

    for (int c = 0; c < meter->channels; c++) {
        double row[2 * BEFORE] = {0};
        memcpy(row, meter->channel[c].sound, BEFORE * sizeof *row);
        most = larger(largest_between(meter, row + BEFORE, BEFORE), most);
    }
    return larger(most, meter->peak);
}

double tb_meter_squares(const tb_meter *meter)
{
    double sum = 0;

    for (int c = 0; c < meter->channels; c++)
        sum += meter->channel[c].finished + total(&meter->channel[c].level);
    return sum;
}
