/* What a readout needs of where it runs. */

#ifndef PLATFORM_H
#define PLATFORM_H

#include <stddef.h>
#include <stdint.h>

void begin(void);
/* Up to `most` codes of codes.bin; 0 at its end. */
size_t read_codes(int32_t *codes, size_t most);
/* To c.frames. */
void write_bytes(const uint8_t *bytes, size_t length);
void end(void);
void say(const char *text);

#endif
