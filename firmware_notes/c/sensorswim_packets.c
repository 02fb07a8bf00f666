#include "sensorswim_packets.h"

#include <string.h>

#define HEAD_BYTES 16u
#define SUM_BYTES 4u
#define RANGE_END_BYTES 20u
#define STATE_BYTES 44u
#define ANSWER_BYTES 14u
#define COMMAND_HEAD 4u
#define LABELS 10u
#define RESULTS 8u

/* Sizes in bytes of each order's numbers, ended by 0. */
static const uint8_t value_sizes[8][6] = {
    {0}, {2, 2, 1, 2, 1, 0}, {0}, {2, 0}, {1, 0}, {8, 0}, {2, 4, 4, 0}, {1, 0},
};

static uint64_t get(const uint8_t *bytes, size_t size)
{
    uint64_t value = 0;
    size_t i;
    for (i = size; i > 0; i--) {
        value = (value << 8) | bytes[i - 1];
    }
    return value;
}

static void put(uint8_t *bytes, size_t size, uint64_t value)
{
    size_t i;
    for (i = 0; i < size; i++) {
        bytes[i] = (uint8_t)((value >> (8 * i)) & 0xFFu);
    }
}

static uint16_t get16(const uint8_t *bytes)
{
    return (uint16_t)get(bytes, 2);
}

static uint32_t get32(const uint8_t *bytes)
{
    return (uint32_t)get(bytes, 4);
}

static int16_t get_signed16(const uint8_t *bytes)
{
    int32_t value = (int32_t)get(bytes, 2);
    return (int16_t)(value < 32768 ? value : value - 65536);
}

uint32_t ssw_crc32c(const uint8_t *bytes, size_t size)
{
    uint32_t crc = 0xFFFFFFFFu;
    size_t i;
    int bit;
    for (i = 0; i < size; i++) {
        crc ^= bytes[i];
        for (bit = 0; bit < 8; bit++) {
            crc = (crc >> 1) ^ ((crc & 1u) ? 0x82F63B78u : 0u);
        }
    }
    return ~crc;
}

static enum ssw_status check(const uint8_t *bytes, size_t size, enum ssw_kind kind, size_t least)
{
    if (size < least + SUM_BYTES) {
        return SSW_SHORT;
    }
    if (bytes[0] != SSW_VERSION) {
        return SSW_BAD_VERSION;
    }
    if (bytes[1] != (uint8_t)kind) {
        return SSW_BAD_KIND;
    }
    if (get32(bytes + size - SUM_BYTES) != ssw_crc32c(bytes, size - SUM_BYTES)) {
        return SSW_BAD_CHECKSUM;
    }
    return SSW_OK;
}

static size_t seal(uint8_t *bytes, enum ssw_kind kind, size_t size)
{
    bytes[0] = SSW_VERSION;
    bytes[1] = (uint8_t)kind;
    put(bytes + size, SUM_BYTES, ssw_crc32c(bytes, size));
    return size + SUM_BYTES;
}

static int good_count(unsigned count, unsigned span_ticks)
{
    return count >= 1 && count <= SSW_MOST_SAMPLES && (count == 1) == (span_ticks == 0);
}

enum ssw_status ssw_read_samples(const uint8_t *bytes, size_t size, struct ssw_samples *out)
{
    enum ssw_status status = check(bytes, size, SSW_SAMPLES, HEAD_BYTES);
    size_t i;
    if (status != SSW_OK) {
        return status;
    }
    memset(out, 0, sizeof *out);
    out->count = bytes[2];
    out->flags = bytes[3];
    out->log = get16(bytes + 4);
    out->span_ticks = get16(bytes + 6);
    out->number = get32(bytes + 8);
    out->first_ticks = get32(bytes + 12);
    if (!good_count(out->count, out->span_ticks)) {
        return SSW_BAD_VALUE;
    }
    if (size != HEAD_BYTES + 12u * out->count + SUM_BYTES) {
        return SSW_BAD_LENGTH;
    }
    for (i = 0; i < 6u * out->count; i++) {
        out->counts[i / 6][i % 6] = get_signed16(bytes + HEAD_BYTES + 2 * i);
    }
    return SSW_OK;
}

size_t ssw_write_samples(const struct ssw_samples *in, uint8_t *bytes)
{
    size_t i;
    if (!good_count(in->count, in->span_ticks)) {
        return 0;
    }
    bytes[2] = in->count;
    bytes[3] = in->flags;
    put(bytes + 4, 2, in->log);
    put(bytes + 6, 2, in->span_ticks);
    put(bytes + 8, 4, in->number);
    put(bytes + 12, 4, in->first_ticks);
    for (i = 0; i < 6u * in->count; i++) {
        put(bytes + HEAD_BYTES + 2 * i, 2, (uint16_t)in->counts[i / 6][i % 6]);
    }
    return seal(bytes, SSW_SAMPLES, HEAD_BYTES + 12u * in->count);
}

enum ssw_status ssw_read_range_end(const uint8_t *bytes, size_t size, struct ssw_range_end *out)
{
    enum ssw_status status = check(bytes, size, SSW_RANGE_END, RANGE_END_BYTES - SUM_BYTES);
    if (status != SSW_OK) {
        return status;
    }
    if (size != RANGE_END_BYTES) {
        return SSW_BAD_LENGTH;
    }
    out->log = get16(bytes + 2);
    out->first = get32(bytes + 4);
    out->last = get32(bytes + 8);
    out->sent = get16(bytes + 12);
    out->not_held = get16(bytes + 14);
    return out->last < out->first ? SSW_BAD_VALUE : SSW_OK;
}

size_t ssw_write_range_end(const struct ssw_range_end *in, uint8_t *bytes)
{
    if (in->last < in->first) {
        return 0;
    }
    put(bytes + 2, 2, in->log);
    put(bytes + 4, 4, in->first);
    put(bytes + 8, 4, in->last);
    put(bytes + 12, 2, in->sent);
    put(bytes + 14, 2, in->not_held);
    return seal(bytes, SSW_RANGE_END, RANGE_END_BYTES - SUM_BYTES);
}

static int good_state(const struct ssw_state *state)
{
    return state->mode <= 3 && state->label < LABELS && state->battery_pct <= 100 &&
           state->oldest <= state->following && state->rate_hz > 0 && state->accel_range_g > 0 &&
           state->gyro_range_deg_s > 0;
}

enum ssw_status ssw_read_state(const uint8_t *bytes, size_t size, struct ssw_state *out)
{
    enum ssw_status status = check(bytes, size, SSW_STATE, STATE_BYTES - SUM_BYTES);
    if (status != SSW_OK) {
        return status;
    }
    if (size != STATE_BYTES) {
        return SSW_BAD_LENGTH;
    }
    out->mode = bytes[2];
    out->label = bytes[3];
    out->log = get16(bytes + 4);
    out->rate_hz = get16(bytes + 6);
    out->accel_range_g = bytes[8];
    out->battery_pct = bytes[9];
    out->gyro_range_deg_s = get16(bytes + 10);
    out->temperature_centi_c = get_signed16(bytes + 12);
    out->samples_a_packet = bytes[14];
    out->faults = bytes[15];
    out->oldest = get32(bytes + 16);
    out->following = get32(bytes + 20);
    out->ticks = get32(bytes + 24);
    out->free_bytes = get32(bytes + 28);
    out->serial = get(bytes + 32, 8);
    return good_state(out) ? SSW_OK : SSW_BAD_VALUE;
}

size_t ssw_write_state(const struct ssw_state *in, uint8_t *bytes)
{
    if (!good_state(in)) {
        return 0;
    }
    bytes[2] = in->mode;
    bytes[3] = in->label;
    put(bytes + 4, 2, in->log);
    put(bytes + 6, 2, in->rate_hz);
    bytes[8] = in->accel_range_g;
    bytes[9] = in->battery_pct;
    put(bytes + 10, 2, in->gyro_range_deg_s);
    put(bytes + 12, 2, (uint16_t)in->temperature_centi_c);
    bytes[14] = in->samples_a_packet;
    bytes[15] = in->faults;
    put(bytes + 16, 4, in->oldest);
    put(bytes + 20, 4, in->following);
    put(bytes + 24, 4, in->ticks);
    put(bytes + 28, 4, in->free_bytes);
    put(bytes + 32, 8, in->serial);
    return seal(bytes, SSW_STATE, STATE_BYTES - SUM_BYTES);
}

enum ssw_status ssw_read_answer(const uint8_t *bytes, size_t size, struct ssw_answer *out)
{
    enum ssw_status status = check(bytes, size, SSW_ANSWER, ANSWER_BYTES - SUM_BYTES);
    if (status != SSW_OK) {
        return status;
    }
    if (size != ANSWER_BYTES) {
        return SSW_BAD_LENGTH;
    }
    out->order = bytes[2];
    out->token = bytes[3];
    out->result = bytes[4];
    out->ticks = get32(bytes + 6);
    return out->result < RESULTS ? SSW_OK : SSW_BAD_VALUE;
}

size_t ssw_write_answer(const struct ssw_answer *in, uint8_t *bytes)
{
    if (in->result >= RESULTS) {
        return 0;
    }
    bytes[2] = in->order;
    bytes[3] = in->token;
    bytes[4] = in->result;
    bytes[5] = 0;
    put(bytes + 6, 4, in->ticks);
    return seal(bytes, SSW_ANSWER, ANSWER_BYTES - SUM_BYTES);
}

enum ssw_status ssw_read_command(const uint8_t *bytes, size_t size, struct ssw_command *out)
{
    enum ssw_status status = check(bytes, size, SSW_COMMAND, COMMAND_HEAD);
    size_t at = COMMAND_HEAD;
    const uint8_t *sizes;
    if (status != SSW_OK) {
        return status;
    }
    memset(out, 0, sizeof *out);
    out->order = bytes[2];
    out->token = bytes[3];
    if (out->order < SSW_START || out->order > SSW_LABEL) {
        return SSW_OK; /* answered with result 1, not known */
    }
    for (sizes = value_sizes[out->order]; *sizes != 0; sizes++) {
        if (at + *sizes + SUM_BYTES > size) {
            return SSW_BAD_LENGTH;
        }
        out->values[out->value_count++] = get(bytes + at, *sizes);
        at += *sizes;
    }
    return at + SUM_BYTES == size ? SSW_OK : SSW_BAD_LENGTH;
}

size_t ssw_write_command(const struct ssw_command *in, uint8_t *bytes)
{
    size_t at = COMMAND_HEAD;
    size_t i;
    if (in->order < SSW_START || in->order > SSW_LABEL) {
        return 0;
    }
    bytes[2] = in->order;
    bytes[3] = in->token;
    for (i = 0; value_sizes[in->order][i] != 0; i++) {
        put(bytes + at, value_sizes[in->order][i], in->values[i]);
        at += value_sizes[in->order][i];
    }
    return seal(bytes, SSW_COMMAND, at);
}

enum ssw_status ssw_read_piece(const uint8_t *bytes, size_t size, struct ssw_piece *out)
{
    if (size <= SSW_PIECE_HEAD || size > SSW_PIECE_HEAD + SSW_PIECE_BYTES) {
        return SSW_SHORT;
    }
    if (bytes[0] != SSW_VERSION) {
        return SSW_BAD_VERSION;
    }
    if (bytes[1] != SSW_PIECE) {
        return SSW_BAD_KIND;
    }
    out->index = bytes[2];
    out->pieces = bytes[3];
    out->number = get16(bytes + 4);
    out->size = (uint8_t)(size - SSW_PIECE_HEAD);
    memcpy(out->data, bytes + SSW_PIECE_HEAD, out->size);
    return out->index < out->pieces ? SSW_OK : SSW_BAD_VALUE;
}

size_t ssw_write_piece(const struct ssw_piece *in, uint8_t *bytes)
{
    if (in->size < 1 || in->size > SSW_PIECE_BYTES || in->index >= in->pieces) {
        return 0;
    }
    bytes[0] = SSW_VERSION;
    bytes[1] = SSW_PIECE;
    bytes[2] = in->index;
    bytes[3] = in->pieces;
    put(bytes + 4, 2, in->number);
    memcpy(bytes + SSW_PIECE_HEAD, in->data, in->size);
    return SSW_PIECE_HEAD + in->size;
}
