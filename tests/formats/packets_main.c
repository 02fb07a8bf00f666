/* Reads "kind hex" lines, prints what each packet holds and the bytes it is written back to. */
#include "sensorswim_packets.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char *const words[] = {"ok", "short", "version", "kind", "checksum", "length",
                                    "value"};

static void bytes_out(const uint8_t *bytes, size_t size)
{
    size_t i;
    for (i = 0; i < size; i++) {
        printf("%02x", bytes[i]);
    }
}

static void written(const uint8_t *bytes, size_t size)
{
    printf(" bytes=");
    bytes_out(bytes, size);
    printf("\n");
}

static void samples(const struct ssw_samples *p, uint8_t *room)
{
    unsigned i;
    printf("log=%u number=%" PRIu32 " first_ticks=%" PRIu32 " span_ticks=%u flags=%u counts=",
           p->log, p->number, p->first_ticks, p->span_ticks, p->flags);
    for (i = 0; i < 6u * p->count; i++) {
        printf("%s%d", i ? "," : "", p->counts[i / 6][i % 6]);
    }
    written(room, ssw_write_samples(p, room));
}

static void state(const struct ssw_state *p, uint8_t *room)
{
    printf("mode=%u label=%u log=%u rate_hz=%u accel_range_g=%u battery_pct=%u "
           "gyro_range_deg_s=%u temperature_centi_c=%d samples_a_packet=%u faults=%u "
           "oldest=%" PRIu32 " following=%" PRIu32 " ticks=%" PRIu32 " free_bytes=%" PRIu32
           " serial=%" PRIu64,
           p->mode, p->label, p->log, p->rate_hz, p->accel_range_g, p->battery_pct,
           p->gyro_range_deg_s, p->temperature_centi_c, p->samples_a_packet, p->faults,
           p->oldest, p->following, p->ticks, p->free_bytes, p->serial);
    written(room, ssw_write_state(p, room));
}

static void command(const struct ssw_command *p, uint8_t *room)
{
    unsigned i;
    printf("order=%u token=%u values=", p->order, p->token);
    for (i = 0; i < p->value_count; i++) {
        printf("%s%" PRIu64, i ? "," : "", p->values[i]);
    }
    written(room, ssw_write_command(p, room));
}

static void piece(const struct ssw_piece *p, uint8_t *room)
{
    printf("index=%u pieces=%u number=%u data=", p->index, p->pieces, p->number);
    bytes_out(p->data, p->size);
    written(room, ssw_write_piece(p, room));
}

static enum ssw_status answer_line(const char *kind, const uint8_t *bytes, size_t size)
{
    uint8_t room[SSW_MOST_BYTES];
    enum ssw_status status = SSW_BAD_KIND;
    if (strcmp(kind, "samples") == 0) {
        struct ssw_samples p;
        if ((status = ssw_read_samples(bytes, size, &p)) == SSW_OK) samples(&p, room);
    } else if (strcmp(kind, "state") == 0) {
        struct ssw_state p;
        if ((status = ssw_read_state(bytes, size, &p)) == SSW_OK) state(&p, room);
    } else if (strcmp(kind, "command") == 0) {
        struct ssw_command p;
        if ((status = ssw_read_command(bytes, size, &p)) == SSW_OK) command(&p, room);
    } else if (strcmp(kind, "piece") == 0) {
        struct ssw_piece p;
        if ((status = ssw_read_piece(bytes, size, &p)) == SSW_OK) piece(&p, room);
    } else if (strcmp(kind, "answer") == 0) {
        struct ssw_answer p;
        if ((status = ssw_read_answer(bytes, size, &p)) == SSW_OK) {
            printf("order=%u token=%u result=%u ticks=%" PRIu32, p.order, p.token, p.result,
                   p.ticks);
            written(room, ssw_write_answer(&p, room));
        }
    } else if (strcmp(kind, "range_end") == 0) {
        struct ssw_range_end p;
        if ((status = ssw_read_range_end(bytes, size, &p)) == SSW_OK) {
            printf("log=%u first=%" PRIu32 " last=%" PRIu32 " sent=%u not_held=%u", p.log,
                   p.first, p.last, p.sent, p.not_held);
            written(room, ssw_write_range_end(&p, room));
        }
    }
    return status;
}

int main(void)
{
    char kind[16];
    char hex[1024];
    while (scanf("%15s %1023s", kind, hex) == 2) {
        size_t size = strcmp(hex, "-") == 0 ? 0 : strlen(hex) / 2;
        uint8_t *bytes = malloc(size ? size : 1);
        size_t i;
        enum ssw_status status;
        if (bytes == NULL) return 1;
        for (i = 0; i < size; i++) {
            unsigned value;
            if (sscanf(hex + 2 * i, "%2x", &value) != 1) return 1;
            bytes[i] = (uint8_t)value;
        }
        /* an exact-size block, so that the sanitizer sees any reading beyond the packet */
        status = answer_line(kind, bytes, size);
        if (status != SSW_OK) printf("refused=%s\n", words[status]);
        free(bytes);
    }
    return 0;
}
