/* Packets of sensorswim sensors, version 1: reference encoder and decoder in C99.
 *
 * No allocation, no global state, no alignment or byte-order assumptions. The layouts and the
 * example bytes are in ../packets.md. Licence: MIT, as the whole project.
 */
#ifndef SENSORSWIM_PACKETS_H
#define SENSORSWIM_PACKETS_H

#include <stddef.h>
#include <stdint.h>

#define SSW_VERSION 1u
#define SSW_TICK_HZ 32768u
#define SSW_MOST_SAMPLES 13u
#define SSW_MOST_BYTES 176u
#define SSW_PIECE_HEAD 6u
#define SSW_PIECE_BYTES 14u

enum ssw_kind {
    SSW_SAMPLES = 1,
    SSW_PIECE = 2,
    SSW_RANGE_END = 3,
    SSW_STATE = 16,
    SSW_ANSWER = 17,
    SSW_COMMAND = 18
};

enum ssw_order {
    SSW_START = 1,
    SSW_STOP = 2,
    SSW_ERASE = 3,
    SSW_IDENTIFY = 4,
    SSW_CLOCK = 5,
    SSW_RESEND = 6,
    SSW_LABEL = 7
};

/* How reading or writing ended; looked for in this order. */
enum ssw_status {
    SSW_OK = 0,
    SSW_SHORT,
    SSW_BAD_VERSION,
    SSW_BAD_KIND,
    SSW_BAD_CHECKSUM,
    SSW_BAD_LENGTH,
    SSW_BAD_VALUE
};

struct ssw_samples {
    uint8_t count;
    uint8_t flags;
    uint16_t log;
    uint16_t span_ticks;
    uint32_t number;
    uint32_t first_ticks;
    int16_t counts[SSW_MOST_SAMPLES][6];
};

struct ssw_range_end {
    uint16_t log;
    uint32_t first;
    uint32_t last;
    uint16_t sent;
    uint16_t not_held;
};

struct ssw_state {
    uint8_t mode;
    uint8_t label;
    uint16_t log;
    uint16_t rate_hz;
    uint8_t accel_range_g;
    uint8_t battery_pct;
    uint16_t gyro_range_deg_s;
    int16_t temperature_centi_c;
    uint8_t samples_a_packet;
    uint8_t faults;
    uint32_t oldest;
    uint32_t following;
    uint32_t ticks;
    uint32_t free_bytes;
    uint64_t serial;
};

struct ssw_answer {
    uint8_t order;
    uint8_t token;
    uint8_t result;
    uint32_t ticks;
};

/* `values` holds the order's numbers in the order of ../packets.md; the rest is 0. */
struct ssw_command {
    uint8_t order;
    uint8_t token;
    uint8_t value_count;
    uint64_t values[5];
};

struct ssw_piece {
    uint8_t index;
    uint8_t pieces;
    uint16_t number;
    uint8_t size;
    uint8_t data[SSW_PIECE_BYTES];
};

/* CRC-32C (Castagnoli): reflected polynomial 0x82F63B78, start and end inverted. */
uint32_t ssw_crc32c(const uint8_t *bytes, size_t size);

enum ssw_status ssw_read_samples(const uint8_t *bytes, size_t size, struct ssw_samples *out);
enum ssw_status ssw_read_range_end(const uint8_t *bytes, size_t size, struct ssw_range_end *out);
enum ssw_status ssw_read_state(const uint8_t *bytes, size_t size, struct ssw_state *out);
enum ssw_status ssw_read_answer(const uint8_t *bytes, size_t size, struct ssw_answer *out);
enum ssw_status ssw_read_command(const uint8_t *bytes, size_t size, struct ssw_command *out);
enum ssw_status ssw_read_piece(const uint8_t *bytes, size_t size, struct ssw_piece *out);

/* Each writes into `bytes` (room for SSW_MOST_BYTES) and returns the size, 0 for bad values. */
size_t ssw_write_samples(const struct ssw_samples *in, uint8_t *bytes);
size_t ssw_write_range_end(const struct ssw_range_end *in, uint8_t *bytes);
size_t ssw_write_state(const struct ssw_state *in, uint8_t *bytes);
size_t ssw_write_answer(const struct ssw_answer *in, uint8_t *bytes);
size_t ssw_write_command(const struct ssw_command *in, uint8_t *bytes);
size_t ssw_write_piece(const struct ssw_piece *in, uint8_t *bytes);

#endif
