/* SPDX-License-Identifier: MIT-0 */
/* Several cascades over one input: samples are brought into rows of doubles, a chunk at a
 * time, teams of voices march over them, and the rows are summed into the outputs. */

#include <float.h>
#include <string.h>

#include "kernel.h"

#include "flush.h"
#include "memory.h"

#if FLT_EVAL_METHOD != 0
#error "doubles must be computed as doubles (on 32-bit x86: -msse2 -mfpmath=sse)"
#endif

#define TB_WIDTH 2
#define TB_MARCH march_baseline
#define TB_TARGET
#include "march.h"

#if defined(__x86_64__) || defined(__i386__)
#define TB_HAS_WIDE 1
#define TB_WIDTH 4
#define TB_MARCH march_wide
#define TB_TARGET __attribute__((target("avx2")))
#include "march.h"
#endif

#define CHUNK 1024 /* frames; the rows of a pair stay in the nearest cache */
#define LONGEST (TB_LANES * TB_MOST_ROWS) /* sections of a voice in one team */

/* A voice, or a piece of one that is too long for a team, on its way into a job. */
typedef struct {
    const double *sections;
    int count;
    const double *from;
    double *to;
} seat;

typedef struct {
    tb_team team;
    int rows, voices;
    const double *from[2];
    double *to[2];
} job;

typedef struct {
    const double *from;
    double *to;
} addition;

struct tb_bank {
    void *memory; /* all that follows, as it was allocated */
    int inputs, outputs, jobs, additions;
    job *job;
    addition *addition;
    double **input;  /* a row of CHUNK frames each */
    double **output; /* the row of the output's first voice, or of silence */
};

int tb_has_wide_path(void)
{
#ifdef TB_HAS_WIDE
    return __builtin_cpu_supports("avx2") != 0;
#else
    return 0;
#endif
}

/* ---- Setting up */

static void sit_down(job *job, int voice, const seat *seat)
{
    static const double pass[6] = {1, 0, 0, 1, 0, 0};
    const int lanes = TB_LANES / job->voices;

    job->from[voice] = seat->from;
    job->to[voice] = seat->to;
    for (int s = 0; s < job->rows * lanes; s++) {
        const double *section = s < seat->count ? seat->sections + 6 * s : pass;
        const int row = s % job->rows, lane = voice * lanes + s / job->rows;
        job->team.b0[row][lane] = section[0];
        job->team.b1[row][lane] = section[1];
        job->team.b2[row][lane] = section[2];
        job->team.a1[row][lane] = section[4];
        job->team.a2[row][lane] = section[5];
        job->team.behind[row][lane] = s;
    }
}

/* `most` is the larger count of the seats. */
static void add_job(tb_bank *bank, int voices, const seat *seats, int most)
{
    job *job = &bank->job[bank->jobs++];
    const int lanes = TB_LANES / voices;

    job->voices = voices;
    job->rows = most ? (most + lanes - 1) / lanes : 1;
    for (int voice = 0; voice < voices; voice++)
        sit_down(job, voice, &seats[voice]);
}

/* Short voices go in pairs of like length; the odd one and long ones go alone, the
 * latter piece by piece in their own row. */
static void make_jobs(tb_bank *bank, int voices, const int *counts,
                      const double *sections, const int *input_of, double *rows)
{
    seat pair[2];
    int seated = 0;

    for (int size = 0; size <= LONGEST / 2; size++) {
        const double *at = sections;
        for (int v = 0; v < voices; at += 6 * counts[v++]) {
            if (counts[v] != size)
                continue;
            pair[seated++] = (seat){at, size, bank->input[input_of[v]], rows + v * CHUNK};
            if (seated == 2) {
                add_job(bank, 2, pair, size);
                seated = 0;
            }
        }
    }
    if (seated)
        add_job(bank, 1, pair, pair[0].count);
    for (int v = 0; v < voices; sections += 6 * counts[v++]) {
        if (counts[v] <= LONGEST / 2)
            continue;
        const double *from = bank->input[input_of[v]];
        for (int first = 0; first < counts[v]; first += LONGEST) {
            const int left = counts[v] - first;
            const int count = left < LONGEST ? left : LONGEST;
            seat piece = {sections + 6 * first, count, from, rows + v * CHUNK};
            add_job(bank, 1, &piece, count);
            from = piece.to;
        }
    }
}

static void make_sums(tb_bank *bank, int voices, const int *output_of, double *rows)
{
    for (int v = 0; v < voices; v++) {
        double **output = &bank->output[output_of[v]];
        if (*output)
            bank->addition[bank->additions++] = (addition){rows + v * CHUNK, *output};
        else
            *output = rows + v * CHUNK;
    }
    for (int k = 0; k < bank->outputs; k++)
        if (!bank->output[k])
            bank->output[k] = rows + voices * CHUNK; /* nobody writes there */
}

tb_bank *tb_bank_new(int inputs, int outputs, int voices, const int *counts,
                     const double *sections, const int *input_of, const int *output_of)
{
    tb_block block = {NULL, NULL, 0};
    size_t pieces = 0;
    tb_bank *bank;
    double *rows, *input_rows;

    for (int v = 0; v < voices; v++) {
        if (counts[v] < 0 || input_of[v] < 0 || input_of[v] >= inputs ||
            output_of[v] < 0 || output_of[v] >= outputs)
            return NULL;
        pieces += counts[v] / LONGEST + 1;
    }
    for (;;) {
        bank = tb_taken(&block, sizeof *bank);
        job *jobs = tb_taken(&block, pieces * sizeof *jobs);
        addition *additions = tb_taken(&block, voices * sizeof *additions);
        double **input = tb_taken(&block, inputs * sizeof *input);
        double **output = tb_taken(&block, outputs * sizeof *output);
        rows = tb_taken(&block, (voices + 1) * CHUNK * sizeof *rows);
        input_rows = tb_taken(&block, inputs * CHUNK * sizeof *input_rows);
        if (bank) {
            *bank = (tb_bank){block.memory, inputs,    outputs, 0,     0,
                              jobs,         additions, input,   output};
            break;
        }
        if (!tb_allocate(&block))
            return NULL;
    }
    for (int k = 0; k < inputs; k++)
        bank->input[k] = input_rows + k * CHUNK;
    make_jobs(bank, voices, counts, sections, input_of, rows);
    make_sums(bank, voices, output_of, rows);
    return bank;
}

void tb_bank_free(tb_bank *bank)
{
    if (bank)
        free(bank->memory);
}

void tb_bank_reset(tb_bank *bank)
{
    for (int k = 0; k < bank->jobs; k++) {
        tb_team *team = &bank->job[k].team;
        memset(team->z0, 0, sizeof team->z0);
        memset(team->z1, 0, sizeof team->z1);
    }
}

/* ---- Running */

static void march_jobs(tb_bank *bank, ptrdiff_t frames, int path)
{
    const tb_mode before = tb_flush_on();
#ifdef TB_HAS_WIDE
    const int is_wide = path == TB_PATH_BEST && tb_has_wide_path();
#else
    (void)path;
#endif

    for (int k = 0; k < bank->jobs; k++) {
        job *job = &bank->job[k];
#ifdef TB_HAS_WIDE
        if (is_wide) {
            march_wide(&job->team, job->rows, job->voices, job->from[0], job->from[1],
                       job->to[0], job->to[1], frames);
            continue;
        }
#endif
        march_baseline(&job->team, job->rows, job->voices, job->from[0], job->from[1],
                       job->to[0], job->to[1], frames);
    }
    tb_flush_restore(before);
}

static void fetch(double *row, const void *in, ptrdiff_t first, ptrdiff_t step,
                  int is_float, ptrdiff_t frames)
{
    if (is_float) {
        const float *at = (const float *)in + first * step;
        for (ptrdiff_t n = 0; n < frames; n++)
            row[n] = at[n * step];
    } else {
        const double *at = (const double *)in + first * step;
        for (ptrdiff_t n = 0; n < frames; n++)
            row[n] = at[n * step];
    }
}

/* Adding 0 makes every zero a positive one, whatever places the sound went through. */
static void deliver(const double *row, void *out, ptrdiff_t first, ptrdiff_t step,
                    int is_float, ptrdiff_t frames)
{
    if (is_float) {
        float *at = (float *)out + first * step;
        for (ptrdiff_t n = 0; n < frames; n++)
            at[n * step] = (float)(row[n] + 0.0);
    } else {
        double *at = (double *)out + first * step;
        for (ptrdiff_t n = 0; n < frames; n++)
            at[n * step] = row[n] + 0.0;
    }
}

void tb_bank_run(tb_bank *bank, const void *const *in, ptrdiff_t in_step, int in_is_float,
                 void *const *out, const ptrdiff_t *out_step, int out_is_float,
                 size_t frames, int path)
{
    const ptrdiff_t all = (ptrdiff_t)frames;

    for (ptrdiff_t first = 0; first < all; first += CHUNK) {
        const ptrdiff_t count = all - first < CHUNK ? all - first : CHUNK;
        for (int k = 0; k < bank->inputs; k++)
            fetch(bank->input[k], in[k], first, in_step, in_is_float, count);
        march_jobs(bank, count, path);
        for (int k = 0; k < bank->additions; k++)
            for (ptrdiff_t n = 0; n < count; n++)
                bank->addition[k].to[n] += bank->addition[k].from[n];
        for (int k = 0; k < bank->outputs; k++)
            deliver(bank->output[k], out[k], first, out_step[k], out_is_float, count);
    }
}
