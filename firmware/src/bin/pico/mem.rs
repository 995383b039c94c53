//! Copying and filling memory, in a twentieth of the flash that the compiler's own routines take: those are
//! written for speed, to the last odd byte. What is large here lies at whole words, and is as quick.

use core::arch::global_asm;

// SAFETY: these are the C library's and the ARM EABI's functions of these names, with their arguments, results and
// clobbered registers (Run-time ABI for the Arm Architecture, 4.3.4: r0 to r3, r12 and flags may change). Only
// the bytes that they are given are written, and r4 to r6 are put back.
global_asm!(
    "
    .syntax unified
    .thumb

    .section .text.memmove, \"ax\"
    .global memmove, __aeabi_memmove, __aeabi_memmove4, __aeabi_memmove8
    .global memcpy, __aeabi_memcpy, __aeabi_memcpy4, __aeabi_memcpy8
    .type memmove, %function
    .type __aeabi_memmove, %function
    .type __aeabi_memmove4, %function
    .type __aeabi_memmove8, %function
    .type memcpy, %function
    .type __aeabi_memcpy, %function
    .type __aeabi_memcpy4, %function
    .type __aeabi_memcpy8, %function
    .thumb_func
    memmove:
    .thumb_func
    __aeabi_memmove:
    .thumb_func
    __aeabi_memmove4:
    .thumb_func
    __aeabi_memmove8:
        // Only where the target begins within the source is the end to go first.
        subs r3, r0, r1
        cmp r3, r2
        bhs memcpy
    1:  subs r2, #1
        blo 2f
        ldrb r3, [r1, r2]
        strb r3, [r0, r2]
        b 1b
    2:  bx lr

    .thumb_func
    memcpy:
    .thumb_func
    __aeabi_memcpy:
    .thumb_func
    __aeabi_memcpy4:
    .thumb_func
    __aeabi_memcpy8:
        push {{r0, r4, r5, r6, lr}}
        mov r3, r0
        orrs r3, r1
        lsls r3, r3, #30
        bne 6f
        b 4f
    3:  ldmia r1!, {{r3, r4, r5, r6}}
        stmia r0!, {{r3, r4, r5, r6}}
    4:  subs r2, #16
        bhs 3b
        adds r2, #12
        blo 5f
    4:  ldmia r1!, {{r3}}
        stmia r0!, {{r3}}
        subs r2, #4
        bhs 4b
    5:  adds r2, #4
        b 6f
    7:  ldrb r3, [r1]
        strb r3, [r0]
        adds r1, #1
        adds r0, #1
    6:  subs r2, #1
        bhs 7b
        pop {{r0, r4, r5, r6, pc}}
    .size memmove, . - memmove

    .section .text.memset, \"ax\"
    .global memset, __aeabi_memset, __aeabi_memset4, __aeabi_memset8
    .global __aeabi_memclr, __aeabi_memclr4, __aeabi_memclr8
    .type memset, %function
    .type __aeabi_memset, %function
    .type __aeabi_memset4, %function
    .type __aeabi_memset8, %function
    .type __aeabi_memclr, %function
    .type __aeabi_memclr4, %function
    .type __aeabi_memclr8, %function
    .thumb_func
    memset:
        mov r3, r1
        mov r1, r2
        mov r2, r3
        b 1f
    .thumb_func
    __aeabi_memclr:
    .thumb_func
    __aeabi_memclr4:
    .thumb_func
    __aeabi_memclr8:
        movs r2, #0
    .thumb_func
    __aeabi_memset:
    .thumb_func
    __aeabi_memset4:
    .thumb_func
    __aeabi_memset8:
    1:  push {{r0, lr}}
        uxtb r2, r2
        lsls r3, r2, #8
        orrs r2, r3
        lsls r3, r2, #16
        orrs r2, r3
        // To the next whole word.
    2:  lsls r3, r0, #30
        beq 4f
        subs r1, #1
        blo 6f
        strb r2, [r0]
        adds r0, #1
        b 2b
    3:  stmia r0!, {{r2}}
    4:  subs r1, #4
        bhs 3b
        adds r1, #4
        b 7f
    5:  strb r2, [r0]
        adds r0, #1
    7:  subs r1, #1
        bhs 5b
    6:  pop {{r0, pc}}
    .size memset, . - memset
    "
);
