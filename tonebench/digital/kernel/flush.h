/* SPDX-License-Identifier: MIT-0 */
/* Numbers below 2.2e-308 are taken for 0 while the sections run: they would take a
 * hundred times as long, and a filter that rings out into silence is full of them. */
#ifndef TB_FLUSH_H
#define TB_FLUSH_H

#if defined(__SSE2__)

#include <xmmintrin.h>

typedef unsigned int tb_mode;

static tb_mode tb_flush_on(void)
{
    const tb_mode before = _mm_getcsr();
    _mm_setcsr(before | 0x8040); /* results (FTZ) and operands (DAZ) */
    return before;
}

static void tb_flush_restore(tb_mode before)
{
    _mm_setcsr(before);
}

#elif defined(__aarch64__)

typedef unsigned long long tb_mode;

static void tb_flush_restore(tb_mode before)
{
    __asm__ volatile("msr fpcr, %0" : : "r"(before) : "memory");
}

static tb_mode tb_flush_on(void)
{
    tb_mode before;
    __asm__ volatile("mrs %0, fpcr" : "=r"(before) : : "memory");
    tb_flush_restore(before | 1ULL << 24); /* FZ */
    return before;
}

#else

typedef int tb_mode;

static tb_mode tb_flush_on(void)
{
    return 0;
}

static void tb_flush_restore(tb_mode before)
{
    (void)before;
}

#endif
#endif
