/* SPDX-License-Identifier: MIT-0 */
/* Cascades as lanes of vectors that march through time, each section a step behind the
 * one before it. Include it once for every width of vectors, with TB_WIDTH (2 or 4
 * doubles), TB_MARCH (the function's name) and TB_TARGET (its attribute) defined.
 *
 * A team is one voice of up to 4·V sections, or two voices of up to 2·V each, in V rows
 * of four lanes. Section s of a voice stands in row s % V, so that it finds its input,
 * the step before's output of section s - 1, in the row before it. The first row alone
 * takes new samples, beside the outputs of the last row shifted by one lane. In step t
 * section s works on frame t - s; at both ends of a run, sections that have no frame to
 * work on keep their state.
 *
 * The operations of a section and their order are those of transposed direct form II:
 *     y = b0·x + z0;  z0 = (b1·x - a1·y) + z1;  z1 = b2·x - a2·y
 * No two of them may be contracted into one: so every width gives the same bits. Places
 * that no section takes hand their input on. */

#ifndef TB_TEAM
#define TB_TEAM
#include <stddef.h>

#define TB_LANES 4
#define TB_MOST_ROWS 6
#define TB_INLINE static inline __attribute__((always_inline))

typedef double tb_row[TB_LANES] __attribute__((aligned(32)));

typedef struct {
    tb_row b0[TB_MOST_ROWS], b1[TB_MOST_ROWS], b2[TB_MOST_ROWS];
    tb_row a1[TB_MOST_ROWS], a2[TB_MOST_ROWS];
    tb_row z0[TB_MOST_ROWS], z1[TB_MOST_ROWS];
    tb_row behind[TB_MOST_ROWS]; /* s: how many steps a section is behind */
} tb_team;
#endif

#define TB_PASTE(a, b) a##b
#define TB_JOIN(a, b) TB_PASTE(a, b)
#define TB_VECTOR TB_JOIN(TB_MARCH, _vector)
#define TB_MASK TB_JOIN(TB_MARCH, _mask)
#define TB_STEP TB_JOIN(TB_MARCH, _step)
#define TB_RUN TB_JOIN(TB_MARCH, _run)
#define TB_STATES TB_JOIN(TB_MARCH, _states)
#define TB_PARTS (TB_LANES / TB_WIDTH) /* vectors in a row */

typedef double TB_VECTOR __attribute__((vector_size(8 * TB_WIDTH), may_alias));
typedef long long TB_MASK __attribute__((vector_size(8 * TB_WIDTH), may_alias));
typedef TB_VECTOR TB_STATES[TB_MOST_ROWS][TB_PARTS];

/* The part p of a row of a team. */
#define TB_PART(row, p) (*(const TB_VECTOR *)&(row)[(p) * TB_WIDTH])
/* The output of lane l in the last row. */
#define TB_LAST(l) y[rows - 1][(l) / TB_WIDTH][(l) % TB_WIDTH]

/* One step of all sections. `y` holds their last outputs, and gets the new ones. */
TB_INLINE TB_TARGET void TB_STEP(const tb_team *team, const int rows, const int voices,
                                 const int is_masked, const double t,
                                 const double frames, const double x0, const double x1,
                                 TB_STATES z0, TB_STATES z1, TB_STATES y)
{
    const double in[TB_LANES] = {x0, TB_LAST(0), voices == 2 ? x1 : TB_LAST(1),
                                 TB_LAST(2)};
#pragma GCC unroll 6
    for (int r = rows - 1; r >= 0; r--) {
#pragma GCC unroll 2
        for (int p = 0; p < TB_PARTS; p++) {
#if TB_WIDTH == 4
            const TB_VECTOR first = {in[0], in[1], in[2], in[3]};
#else
            const TB_VECTOR first = {in[2 * p], in[2 * p + 1]};
#endif
            const TB_VECTOR x = r ? y[r - 1][p] : first;
            const TB_VECTOR out = TB_PART(team->b0[r], p) * x + z0[r][p];
            const TB_VECTOR new0 =
                (TB_PART(team->b1[r], p) * x - TB_PART(team->a1[r], p) * out) + z1[r][p];
            const TB_VECTOR new1 =
                TB_PART(team->b2[r], p) * x - TB_PART(team->a2[r], p) * out;
            y[r][p] = out;
            if (is_masked) {
                const TB_VECTOR frame = t - TB_PART(team->behind[r], p);
                const TB_MASK works = (frame >= 0.0) & (frame < frames);
                z0[r][p] = (TB_VECTOR)((works & (TB_MASK)new0) |
                                       (~works & (TB_MASK)z0[r][p]));
                z1[r][p] = (TB_VECTOR)((works & (TB_MASK)new1) |
                                       (~works & (TB_MASK)z1[r][p]));
            } else {
                z0[r][p] = new0;
                z1[r][p] = new1;
            }
        }
    }
}

TB_INLINE TB_TARGET void TB_RUN(tb_team *team, const int rows, const int voices,
                                const double *x0, const double *x1, double *y0,
                                double *y1, const ptrdiff_t frames)
{
    const ptrdiff_t behind = rows * (TB_LANES / voices) - 1;
    const ptrdiff_t all = frames + behind;
    const ptrdiff_t full = behind < frames ? behind : all; /* every section works */
    const int tail = TB_LANES / voices - 1; /* the lane of the first voice's output */
    TB_STATES z0, z1, y;
    ptrdiff_t t = 0;

#pragma GCC unroll 6
    for (int r = 0; r < rows; r++) {
#pragma GCC unroll 2
        for (int p = 0; p < TB_PARTS; p++) {
            z0[r][p] = TB_PART(team->z0[r], p);
            z1[r][p] = TB_PART(team->z1[r], p);
            y[r][p] = (TB_VECTOR){0};
        }
    }
#define TB_MASKED_STEP                                                                   \
    do {                                                                                 \
        TB_STEP(team, rows, voices, 1, (double)t, (double)frames,                        \
                t < frames ? x0[t] : 0.0, voices == 2 && t < frames ? x1[t] : 0.0, z0,   \
                z1, y);                                                                  \
        if (t >= behind) {                                                               \
            y0[t - behind] = TB_LAST(tail);                                              \
            if (voices == 2)                                                             \
                y1[t - behind] = TB_LAST(TB_LANES - 1);                                  \
        }                                                                                \
    } while (0)
    for (; t < full; t++)
        TB_MASKED_STEP;
    for (; t < frames; t++) {
        TB_STEP(team, rows, voices, 0, 0.0, 0.0, x0[t], voices == 2 ? x1[t] : 0.0, z0, z1,
                y);
        y0[t - behind] = TB_LAST(tail);
        if (voices == 2)
            y1[t - behind] = TB_LAST(TB_LANES - 1);
    }
    for (; t < all; t++)
        TB_MASKED_STEP;
#undef TB_MASKED_STEP
#pragma GCC unroll 6
    for (int r = 0; r < rows; r++) {
#pragma GCC unroll 2
        for (int p = 0; p < TB_PARTS; p++) {
            *(TB_VECTOR *)&team->z0[r][p * TB_WIDTH] = z0[r][p];
            *(TB_VECTOR *)&team->z1[r][p * TB_WIDTH] = z1[r][p];
        }
    }
}

/* Run a team over frames: x0 goes to y0 and, with two voices, x1 to y1. An output may
 * stand where its input stands. The cases make constants of what the loops hang on. */
static __attribute__((noinline)) TB_TARGET void
TB_MARCH(tb_team *team, int rows, int voices, const double *x0, const double *x1,
         double *y0, double *y1, ptrdiff_t frames)
{
#define TB_CASE(R)                                                                       \
    case R:                                                                              \
        if (voices == 2)                                                                 \
            TB_RUN(team, R, 2, x0, x1, y0, y1, frames);                                  \
        else                                                                             \
            TB_RUN(team, R, 1, x0, x1, y0, y1, frames);                                  \
        break
    switch (rows) {
        TB_CASE(1);
        TB_CASE(2);
        TB_CASE(3);
        TB_CASE(4);
        TB_CASE(5);
        TB_CASE(6);
    }
#undef TB_CASE
}

#undef TB_PASTE
#undef TB_JOIN
#undef TB_VECTOR
#undef TB_MASK
#undef TB_STEP
#undef TB_RUN
#undef TB_PARTS
#undef TB_STATES
#undef TB_PART
#undef TB_LAST
#undef TB_WIDTH
#undef TB_MARCH
#undef TB_TARGET
