/* SPDX-License-Identifier: MIT-0 */
/* One block of memory for all parts of a thing: counted in a first round, laid out in a
 * second. */
#ifndef TB_MEMORY_H
#define TB_MEMORY_H

#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>

#define TB_ALIGNMENT 64

typedef struct {
    void *memory; /* for free() */
    char *start;  /* NULL while counting */
    size_t used;
} tb_block;

static void *tb_taken(tb_block *block, size_t bytes)
{
    void *here = block->start ? block->start + block->used : NULL;
    block->used += (bytes + TB_ALIGNMENT - 1) / TB_ALIGNMENT * TB_ALIGNMENT;
    return here;
}

/* Get what was counted, all zeros; 0 when memory is short. */
static int tb_allocate(tb_block *block)
{
    block->memory = calloc(1, block->used + TB_ALIGNMENT);
    if (!block->memory)
        return 0;
    block->start =
        (char *)block->memory + (TB_ALIGNMENT - (uintptr_t)block->memory % TB_ALIGNMENT);
    block->used = 0;
    return 1;
}

#endif
