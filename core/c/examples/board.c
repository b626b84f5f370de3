/* An emulated Cortex-M board without a C library: start, and files through the debugger's channel (Arm, Semihosting for AArch32 and
   AArch64, operations from memory: open 1, close 2, write text 4, write 5, read 6, end 0x18). */

#include "platform.h"

extern uint32_t stack_top;
int main(void);
void start(void);

static void stop(void)
{
    for (;;)
        ;
}

__attribute__((section(".vectors"), used)) static const void *const vectors[16] = {
    &stack_top, (void *)start, (void *)stop, (void *)stop, (void *)stop, (void *)stop, (void *)stop,
};

static intptr_t ask(intptr_t operation, const void *with)
{
    register intptr_t r0 __asm__("r0") = operation;
    register const void *r1 __asm__("r1") = with;
    __asm__ volatile("bkpt 0xab" : "+r"(r0) : "r"(r1) : "memory");
    return r0;
}

void start(void)
{
    extern uint32_t data_from, data_to, data_end, bss, bss_end;
    /* The floating point unit: the compiler may use its registers. */
    *(volatile uint32_t *)0xE000ED88 |= 0xF << 20;
    __asm__ volatile("dsb\nisb");
    for (uint32_t *from = &data_from, *to = &data_to; to < &data_end;)
        *to++ = *from++;
    for (uint32_t *at = &bss; at < &bss_end;)
        *at++ = 0;
    int failed = main();
    /* Ended by itself, or not. */
    ask(0x18, (const void *)(intptr_t)(failed ? 0x20024 : 0x20026));
    stop();
}

static intptr_t in, out;

void begin(void)
{
    const void *const read[3] = {"codes.bin", (void *)1, (void *)9};
    const void *const write[3] = {"c.frames", (void *)5, (void *)8};
    in = ask(1, read);
    out = ask(1, write);
}

size_t read_codes(int32_t *codes, size_t most)
{
    const void *const with[3] = {(void *)in, codes, (void *)(most * sizeof *codes)};
    return most - (size_t)ask(6, with) / sizeof *codes;
}

void write_bytes(const uint8_t *bytes, size_t length)
{
    const void *const with[3] = {(void *)out, bytes, (void *)length};
    ask(5, with);
}

void end(void)
{
    const void *const files[2] = {(void *)in, (void *)out};
    ask(2, &files[0]);
    ask(2, &files[1]);
}

void say(const char *text)
{
    ask(4, text);
}
