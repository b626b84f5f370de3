/* A host: the C library's files. */

#include "platform.h"
#include <stdio.h>
#include <stdlib.h>

static FILE *in, *out;

void begin(void)
{
    in = fopen("codes.bin", "rb");
    out = fopen("c.frames", "wb");
    if (!in || !out) {
        say("no files\n");
        exit(1);
    }
}

size_t read_codes(int32_t *codes, size_t most)
{
    return fread(codes, sizeof *codes, most, in);
}

void write_bytes(const uint8_t *bytes, size_t length)
{
    fwrite(bytes, 1, length, out);
}

void end(void)
{
    fclose(in);
    fclose(out);
}

void say(const char *text)
{
    fputs(text, stdout);
}
