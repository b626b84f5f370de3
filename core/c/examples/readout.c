/* A whole readout in C: codes from the platform, readings out as frames of telemetry. */

#include "platform.h"
#include "quietgap.h"

#define BLOCK 4096
#define MOST 40960

static int32_t codes[BLOCK];
static uint64_t board_memory[MOST / sizeof(uint64_t)];
static uint64_t decoder_memory[64];

static int fail(const char *text)
{
    say(text);
    return 1;
}

int main(void)
{
    quietgap_board *board;
    quietgap_decoder *decoder;
    quietgap_counts counts;
    quietgap_said said;
    quietgap_reading readings[4];
    uint8_t bytes[QUIETGAP_LONGEST];
    size_t made, length, count;
    uint32_t number = 0;
    uint64_t frames, refused;

    if (quietgap_board_bytes() > sizeof board_memory || quietgap_decoder_bytes() > sizeof decoder_memory)
        return fail("more memory is needed\n");
    if (quietgap_board_begin(board_memory, sizeof board_memory, &board) != QUIETGAP_OK)
        return fail("no board\n");
    if (quietgap_decoder_begin(decoder_memory, sizeof decoder_memory, &decoder) != QUIETGAP_OK)
        return fail("no decoder\n");
    begin();
    while ((count = read_codes(codes, BLOCK)) > 0) {
        if (quietgap_board_push(board, codes, count, readings, 4, &made) != QUIETGAP_OK)
            return fail("a block that was not taken\n");
        for (size_t n = 0; n < made; n++) {
            if (quietgap_write_reading(number, &readings[n], bytes, sizeof bytes, &length) != QUIETGAP_OK)
                return fail("a reading that was not written\n");
            /* What is sent is read as it was. */
            for (size_t k = 0; k < length; k++)
                if (quietgap_decoder_push(decoder, bytes[k], &said) != QUIETGAP_OK)
                    return fail("a byte that was not taken\n");
            if (said.kind != QUIETGAP_READING || said.number != number
                || said.reading.half_samples != readings[n].half_samples
                || said.reading.axes[0] != readings[n].axes[0] || said.reading.health != readings[n].health)
                return fail("a reading that came back another\n");
            write_bytes(bytes, length);
            number++;
        }
    }
    if (quietgap_board_counts(board, &counts) != QUIETGAP_OK || counts.readings != number)
        return fail("other counts\n");
    if (quietgap_decoder_met(decoder, &frames, &refused) != QUIETGAP_OK || frames != number || refused != 0)
        return fail("frames that were lost\n");
    end();
    say("done\n");
    return 0;
}
