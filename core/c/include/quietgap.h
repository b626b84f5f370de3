/* quietgap: a readout chain and its telemetry. Made by cbindgen from core/c/src; change that, not this file. */

#ifndef QUIETGAP_H
#define QUIETGAP_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/*
 Done.
 */
#define QUIETGAP_OK 0

/*
 A pointer is null.
 */
#define QUIETGAP_NULL 1

/*
 Memory is too small, or does not begin at a multiple of the alignment.
 */
#define QUIETGAP_MEMORY 2

/*
 There was no room for all that was made: the rest is lost.
 */
#define QUIETGAP_ROOM 3

/*
 Most axes of a reading.
 */
#define QUIETGAP_AXES 6

/*
 Most bridges of a reading.
 */
#define QUIETGAP_BRIDGES 12

/*
 Faults that a reading may have.
 */
#define QUIETGAP_FAULTS 13

/*
 Most bytes of a frame.
 */
#define QUIETGAP_LONGEST 261

/*
 Nothing has ended with this byte.
 */
#define QUIETGAP_NOTHING 0

/*
 A reading.
 */
#define QUIETGAP_READING 1

/*
 A command to begin to send readings.
 */
#define QUIETGAP_START 2

/*
 A command to send none.
 */
#define QUIETGAP_STOP 3

/*
 A command with a label that comes back.
 */
#define QUIETGAP_MARK 4

/*
 A command that sets the injection's amplitude.
 */
#define QUIETGAP_INJECTION 5

/*
 A sound frame that says something else.
 */
#define QUIETGAP_OTHER 255

/*
 A readout: the caller's memory, in which nothing is the caller's.
 */
typedef struct quietgap_board quietgap_board;

/*
 Makes frames of bytes: the caller's memory, in which nothing is the caller's.
 */
typedef struct quietgap_decoder quietgap_decoder;

/*
 One reading.
 */
typedef struct {
  /*
   Instant, in half sample periods since sample 0.
   */
  int64_t half_samples;
  /*
   Translations in attometres, rotations in attoradians; as many as `axis_count`.
   */
  int64_t axes[QUIETGAP_AXES];
  /*
   Quadrature of each bridge, parts of 2^62; as many as `bridge_count`.
   */
  int64_t quadratures[QUIETGAP_BRIDGES];
  /*
   Largest disagreement of a bridge with the axes, attometres.
   */
  int64_t residual_am;
  /*
   Monitor at calibration over monitor now, parts of 2^58.
   */
  int64_t monitor_ratio;
  /*
   Bit c: channel c was over range.
   */
  uint32_t over_range_channels;
  /*
   Faults: none is 0. Bits, from the lowest: over range, carrier lost, carrier weak, quadrature, bridge range, axes
   residual, settling, saturated, memory, carrier phase, unsettled, silent, acquisition.
   */
  uint16_t health;
  /*
   Axes that there are.
   */
  uint8_t axis_count;
  /*
   Bridges that there are.
   */
  uint8_t bridge_count;
} quietgap_reading;

/*
 Readings and faults so far.
 */
typedef struct {
  /*
   Readings.
   */
  uint64_t readings;
  /*
   Readings with each fault, in the order of their bits.
   */
  uint64_t faults[QUIETGAP_FAULTS];
} quietgap_counts;

/*
 What a frame says.
 */
typedef struct {
  /*
   QUIETGAP_READING and the like.
   */
  uint8_t kind;
  /*
   Number of its frame.
   */
  uint32_t number;
  /*
   A mark's label; the injection's amplitude in millionths of full scale.
   */
  uint32_t value;
  /*
   A reading.
   */
  quietgap_reading reading;
} quietgap_said;

#ifdef __cplusplus
extern "C" {
#endif // __cplusplus

/*
 Bytes that a readout takes.
 */
size_t quietgap_board_bytes(void);

/*
 The alignment that its memory needs.
 */
size_t quietgap_board_alignment(void);

/*
 Converter channels of a frame.
 */
size_t quietgap_channels(void);

/*
 Puts a readout into `memory` and loads the plan that it was compiled with; it is `*board` then, until the memory is used for
 something else. QUIETGAP_NULL, QUIETGAP_MEMORY.

 # Safety
 `memory` is null or points to `bytes` bytes that nothing else uses, `board` is null or points to a pointer.
 */
int32_t quietgap_board_begin(void *memory,
                             size_t bytes,
                             quietgap_board **board);

/*
 Loads the plan again: after a `memory` fault. All that was is forgotten, the next code is of channel 0 in frame 0. QUIETGAP_NULL.

 # Safety
 `board` is null, or one that was begun and that no other thread or interrupt uses meanwhile: so for all functions here.
 */
int32_t quietgap_board_load(quietgap_board *board);

/*
 Forgets all codes; the next frame is number `frame` of the run. QUIETGAP_NULL.

 # Safety
 See `quietgap_board_load`.
 */
int32_t quietgap_board_seek(quietgap_board *board, uint64_t frame);

/*
 Samples since the last reading had faults that were found before the chain: readings carry `acquisition` for as long as these
 are in the filters. QUIETGAP_NULL.

 # Safety
 See `quietgap_board_load`.
 */
int32_t quietgap_board_flag(quietgap_board *board);

/*
 Takes `count` interleaved codes, a cut frame included, and writes the readings that they complete to `readings`, which has room
 for `room`; `*made` is how many these were. QUIETGAP_NULL; QUIETGAP_ROOM where more were made than there is room for.

 # Safety
 See `quietgap_board_load`; `codes` points to `count` codes, or is null and `count` 0; `readings` to `room` readings, or is null
 and `room` 0; `made` is null or points to a number.
 */
int32_t quietgap_board_push(quietgap_board *board,
                            const int32_t *codes,
                            size_t count,
                            quietgap_reading *readings,
                            size_t room,
                            size_t *made);

/*
 Readings and faults so far. QUIETGAP_NULL.

 # Safety
 See `quietgap_board_load`; `counts` is null or points to counts.
 */
int32_t quietgap_board_counts(const quietgap_board *board, quietgap_counts *counts);

/*
 Sum of all that the plan set, as it stands in memory now; 0 for a null pointer.

 # Safety
 See `quietgap_board_load`.
 */
uint32_t quietgap_board_checksum(const quietgap_board *board);

/*
 Frames from one reading to the next; 0 for a null pointer.

 # Safety
 See `quietgap_board_load`.
 */
uint64_t quietgap_board_interval(const quietgap_board *board);

/*
 Bytes that a decoder takes.
 */
size_t quietgap_decoder_bytes(void);

/*
 Puts a decoder into `memory`, whose alignment is that of `uint64_t`; it is `*decoder` then. QUIETGAP_NULL, QUIETGAP_MEMORY.

 # Safety
 `memory` is null or points to `bytes` bytes that nothing else uses, `decoder` is null or points to a pointer.
 */
int32_t quietgap_decoder_begin(void *memory,
                               size_t bytes,
                               quietgap_decoder **decoder);

/*
 Takes a byte of the line; `said->kind` is QUIETGAP_NOTHING where no frame ends with it. QUIETGAP_NULL.

 # Safety
 `decoder` is null, or one that was begun and that no other thread or interrupt uses meanwhile; `said` is null or points to one.
 */
int32_t quietgap_decoder_push(quietgap_decoder *decoder,
                              uint8_t byte,
                              quietgap_said *said);

/*
 Frames that were sound, and stretches of the line that were none, so far. QUIETGAP_NULL.

 # Safety
 See `quietgap_decoder_push`; `frames` and `refused` are null or point to numbers.
 */
int32_t quietgap_decoder_met(const quietgap_decoder *decoder, uint64_t *frames, uint64_t *refused);

/*
 Writes a reading as frame `number`, QUIETGAP_LONGEST bytes at most, to `bytes`; `*length` is how many. QUIETGAP_NULL,
 QUIETGAP_ROOM.

 # Safety
 `reading` is null or points to one, `bytes` is null or points to `room` bytes, `length` is null or points to a number.
 */
int32_t quietgap_write_reading(uint32_t number,
                               const quietgap_reading *reading,
                               uint8_t *bytes,
                               size_t room,
                               size_t *length);

/*
 Writes the answer to command `command`, met at `sample` and carried out or refused, as frame `number`. QUIETGAP_NULL,
 QUIETGAP_ROOM.

 # Safety
 `bytes` is null or points to `room` bytes, `length` is null or points to a number.
 */
int32_t quietgap_write_answer(uint32_t number,
                              uint32_t command,
                              uint64_t sample,
                              bool refused,
                              uint8_t *bytes,
                              size_t room,
                              size_t *length);

#ifdef __cplusplus
}  // extern "C"
#endif  // __cplusplus

#endif  /* QUIETGAP_H */
