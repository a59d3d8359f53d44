/* What a compiler calls when a function's stack was overwritten, or a division in software has no divisor: trap. */
#include <stdint.h>

#define TRAP() __asm__ volatile(".inst.n 0xde01")

extern const uintptr_t __stack_chk_guard;
const uintptr_t __stack_chk_guard = 0x5AC35CA3U; /* in flash, where no overwritten stack can make it fit */

void __stack_chk_fail(void);
void __aeabi_idiv0(void);
void __aeabi_ldiv0(void);

void __stack_chk_fail(void)
{
    TRAP();
}

void __aeabi_idiv0(void)
{
    TRAP();
}

void __aeabi_ldiv0(void)
{
    TRAP();
}
