/* Messages: the fields of every payload, read and written by the same list (PROTOCOL.md chapters 5 and 6). */
#include "truerim_link.h"

#include <string.h>

/* Compiling fails here where a double is not 8 bytes. */
typedef char tr_double_has_8_bytes[sizeof(double) == 8 ? 1 : -1];

/* A payload on its way in or out. Once something is wrong, `bad` stays set and nothing moves any more. */
struct wire {
    const uint8_t *in; /* reading from here, or NULL */
    uint8_t *out;      /* writing to here, or NULL */
    size_t length, at;
    int bad;
};

/* Little-endian, `size` bytes. */
static void number(struct wire *w, uint64_t *value, size_t size)
{
    size_t i;
    if (w->bad || size > w->length - w->at) {
        w->bad = 1;
        return;
    }
    if (w->in != NULL) {
        *value = 0;
        for (i = 0; i < size; i++) {
            *value |= (uint64_t)w->in[w->at + i] << (8 * i);
        }
    } else {
        for (i = 0; i < size; i++) {
            w->out[w->at + i] = (uint8_t)(*value >> (8 * i) & 0xFFu);
        }
    }
    w->at += size;
}

static void u8(struct wire *w, uint8_t *value)
{
    uint64_t wide = *value;
    number(w, &wide, 1);
    *value = (uint8_t)wide;
}

static void u16(struct wire *w, uint16_t *value)
{
    uint64_t wide = *value;
    number(w, &wide, 2);
    *value = (uint16_t)wide;
}

static void u32(struct wire *w, uint32_t *value)
{
    uint64_t wide = *value;
    number(w, &wide, 4);
    *value = (uint32_t)wide;
}

static void u64(struct wire *w, uint64_t *value)
{
    number(w, value, 8);
}

/* Two's complement without relying on what a conversion out of range does. */
static int32_t as_signed(uint32_t bits)
{
    return bits <= 0x7FFFFFFFu ? (int32_t)bits : -(int32_t)(0xFFFFFFFFu - bits) - 1;
}

static void i16(struct wire *w, int16_t *value)
{
    uint64_t wide = (uint16_t)*value;
    number(w, &wide, 2);
    *value = (int16_t)(wide <= 0x7FFFu ? (int32_t)wide : (int32_t)wide - 0x10000);
}

static void i32(struct wire *w, int32_t *value)
{
    uint64_t wide = (uint32_t)*value;
    number(w, &wide, 4);
    *value = as_signed((uint32_t)wide);
}

/* Never infinite, never no number. */
static void f64(struct wire *w, double *value)
{
    uint64_t bits = 0;
    memcpy(&bits, value, 8);
    number(w, &bits, 8);
    memcpy(value, &bits, 8);
    if (w->in != NULL && (bits >> 52 & 0x7FFu) == 0x7FFu) {
        w->bad = 1;
    }
}

/* When reading, what must hold of what was read. */
static void must(struct wire *w, int holds)
{
    if (w->in != NULL && !holds) {
        w->bad = 1;
    }
}

static void code(struct wire *w, uint8_t *value, uint8_t least, uint8_t greatest)
{
    u8(w, value);
    must(w, *value >= least && *value <= greatest);
}

/* Length of the UTF-8 character at `text`, of which `left` bytes are there; 0 when it is none (The Unicode Standard,
 * table 3-7: no overlong forms, no surrogates, nothing above U+10FFFF). */
static size_t character(const uint8_t *text, size_t left)
{
    uint8_t first = text[0], low = 0x80, high = 0xBF;
    size_t length = first < 0x80 ? 1 : first < 0xC2 ? 0 : first < 0xE0 ? 2 : first < 0xF0 ? 3 : first < 0xF5 ? 4 : 0;
    size_t i;
    if (length == 0 || length > left) {
        return 0;
    }
    if (first == 0xE0) {
        low = 0xA0;
    } else if (first == 0xED) {
        high = 0x9F;
    } else if (first == 0xF0) {
        low = 0x90;
    } else if (first == 0xF4) {
        high = 0x8F;
    }
    for (i = 1; i < length; i++) {
        if (text[i] < low || text[i] > high) {
            return 0;
        }
        low = 0x80;
        high = 0xBF;
    }
    return length;
}

/* `size` bytes of text; `value` has one more, for the closing zero. */
static void text(struct wire *w, char *value, size_t size)
{
    size_t end, i;
    if (w->bad || size > w->length - w->at) {
        w->bad = 1;
        return;
    }
    if (w->in != NULL) {
        const uint8_t *bytes = w->in + w->at;
        const uint8_t *zero = memchr(bytes, 0, size);
        end = zero == NULL ? size : (size_t)(zero - bytes);
        for (i = 0; i < end;) {
            size_t length = character(bytes + i, end - i);
            must(w, length > 0);
            i += length > 0 ? length : 1;
        }
        for (i = end; i < size; i++) {
            must(w, bytes[i] == 0);
        }
        memcpy(value, bytes, size);
        value[size] = 0;
    } else {
        for (i = 0; i < size && value[i] != 0; i++) {
            w->out[w->at + i] = (uint8_t)value[i];
        }
        memset(w->out + w->at + i, 0, size - i);
    }
    w->at += size;
}

static void configuration(struct wire *w, struct tr_configuration *m)
{
    u32(w, &m->sample_period_us);
    u16(w, &m->torque_limit_raw);
    u16(w, &m->slew_limit_raw_per_ms);
    u32(w, &m->rim_speed_limit_mrad_s);
    i32(w, &m->window_low_urad);
    i32(w, &m->window_high_urad);
    code(w, &m->window_reference, TR_FROM_ZERO, TR_FROM_ARMING);
    u32(w, &m->sensor_torque_limit_mnm);
    i16(w, &m->temperature_limit_cdeg);
    u32(w, &m->watchdog_us);
    u32(w, &m->setpoint_expiry_us);
    code(w, &m->stop_mode, TR_COAST, TR_BRAKE);
    u32(w, &m->brake_us);
}

static void setpoints(struct wire *w, struct tr_setpoints *m)
{
    size_t i;
    u64(w, &m->first_tick);
    u32(w, &m->period_us);
    code(w, &m->ends, 0, 1);
    u8(w, &m->count);
    if (m->count < 1 || m->count > TR_MAX_SETPOINTS) {
        w->bad = 1;
        return;
    }
    must(w, m->count == 1 || m->period_us >= 1);
    for (i = 0; i < m->count; i++) {
        i16(w, &m->values[i]);
    }
}

static void identity(struct wire *w, struct tr_identity *m)
{
    u8(w, &m->major);
    u8(w, &m->minor);
    u32(w, &m->nonce);
    u32(w, &m->boot_id);
    u64(w, &m->tick);
    u16(w, &m->capabilities);
    code(w, &m->channels, 1, TR_MAX_CHANNELS);
    u16(w, &m->queue_capacity);
    u32(w, &m->min_sample_period_us);
    f64(w, &m->full_scale_nm);
    must(w, m->full_scale_nm > 0.0);
    text(w, m->model, 24);
    text(w, m->serial, 16);
    text(w, m->firmware, 16);
}

static void channel(struct wire *w, struct tr_channel *m)
{
    code(w, &m->index, 0, TR_MAX_CHANNELS - 1);
    code(w, &m->kind, TR_CHANNEL_SETPOINT, TR_CHANNEL_OTHER);
    u8(w, &m->width);
    must(w, m->width == TR_I16 || m->width == TR_I32);
    code(w, &m->unit, TR_ONE, TR_RADIAN_PER_SECOND);
    f64(w, &m->scale);
    must(w, m->scale < 0.0 || m->scale > 0.0);
    f64(w, &m->offset);
    i32(w, &m->raw_min);
    i32(w, &m->raw_max);
    must(w, m->raw_min < m->raw_max);
    must(w, m->width == TR_I32 || (m->raw_min >= INT16_MIN && m->raw_max <= INT16_MAX));
    u32(w, &m->group_delay_ns);
    text(w, m->name, 16);
}

static void status(struct wire *w, struct tr_status *m)
{
    u64(w, &m->tick);
    code(w, &m->state, TR_IDLE, TR_TRIPPED);
    code(w, &m->trip, TR_TRIP_NONE, TR_TRIP_INTERNAL);
    code(w, &m->sampling, 0, 1);
    code(w, &m->emergency_stop_closed, 0, 1);
    u16(w, &m->credit);
    u32(w, &m->trips);
    u32(w, &m->underruns);
    u32(w, &m->late_setpoints);
    u32(w, &m->expired);
    u32(w, &m->bad_frames);
    u32(w, &m->lost_batches);
    i32(w, &m->armed_angle_urad);
}

static void samples(struct wire *w, struct tr_samples *m)
{
    size_t bytes;
    u64(w, &m->first_tick);
    u32(w, &m->period_us);
    code(w, &m->state, TR_IDLE, TR_TRIPPED);
    u16(w, &m->credit);
    code(w, &m->row_bytes, 1, 255);
    code(w, &m->rows, 1, 255);
    must(w, m->rows == 1 || m->period_us >= 1);
    bytes = (size_t)m->row_bytes * m->rows;
    if (w->bad || bytes > w->length - w->at) {
        w->bad = 1;
    } else if (w->in != NULL) {
        m->counts = w->in + w->at;
    } else {
        memcpy(w->out + w->at, m->counts, bytes);
    }
    w->at += w->bad ? 0 : bytes;
}

/* The fields of `m->kind`; 0 when there is no such kind. */
static int fields(struct wire *w, struct tr_message *m)
{
    switch (m->kind) {
    case TR_HELLO:
        u8(w, &m->as.hello.major);
        u8(w, &m->as.hello.minor);
        u32(w, &m->as.hello.nonce);
        return 1;
    case TR_DESCRIBE_CHANNEL:
        u8(w, &m->as.describe_channel.index);
        return 1;
    case TR_CONFIGURE:
        configuration(w, &m->as.configure);
        return 1;
    case TR_START_SAMPLING:
    case TR_STOP_SAMPLING:
    case TR_STATUS_REQUEST:
        return 1;
    case TR_ARM_REQUEST:
        u32(w, &m->as.arm_request.configuration_crc);
        return 1;
    case TR_ARM_CONFIRM:
        u32(w, &m->as.arm_confirm.challenge);
        u32(w, &m->as.arm_confirm.configuration_crc);
        return 1;
    case TR_KEEP_ALIVE:
        u64(w, &m->as.keep_alive.host_ns);
        return 1;
    case TR_SETPOINTS:
        setpoints(w, &m->as.setpoints);
        return 1;
    case TR_STOP:
        code(w, &m->as.stop.mode, TR_COAST, TR_BRAKE);
        code(w, &m->as.stop.reason, TR_FINISHED, TR_TEST);
        return 1;
    case TR_CLEAR_TRIP:
        u32(w, &m->as.clear_trip.trips);
        return 1;
    case TR_IDENTITY:
        identity(w, &m->as.identity);
        return 1;
    case TR_CHANNEL:
        channel(w, &m->as.channel);
        return 1;
    case TR_CONFIGURED:
        configuration(w, &m->as.configured.applied);
        u32(w, &m->as.configured.crc);
        return 1;
    case TR_ARM_CHALLENGE:
        u32(w, &m->as.arm_challenge.challenge);
        u32(w, &m->as.arm_challenge.valid_us);
        return 1;
    case TR_STATUS:
        status(w, &m->as.status);
        return 1;
    case TR_SAMPLES:
        samples(w, &m->as.samples);
        return 1;
    case TR_ECHO:
        u64(w, &m->as.echo.host_ns);
        u64(w, &m->as.echo.received_tick);
        u64(w, &m->as.echo.sent_tick);
        return 1;
    case TR_EVENT:
        u64(w, &m->as.event.tick);
        u32(w, &m->as.event.number);
        code(w, &m->as.event.code, TR_EVENT_BOOTED, TR_EVENT_STOPPED);
        i32(w, &m->as.event.detail);
        return 1;
    case TR_REFUSED:
        u8(w, &m->as.refused.kind);
        u16(w, &m->as.refused.sequence);
        code(w, &m->as.refused.code, TR_REFUSED_UNKNOWN_KIND, TR_REFUSED_NOT_ZERO);
        i32(w, &m->as.refused.detail);
        return 1;
    case TR_STOPPED:
        u64(w, &m->as.stopped.tick);
        code(w, &m->as.stopped.mode, TR_COAST, TR_BRAKE);
        code(w, &m->as.stopped.state, TR_IDLE, TR_TRIPPED);
        return 1;
    default:
        return 0;
    }
}

enum tr_result tr_parse(const struct tr_frame *frame, struct tr_message *message)
{
    struct wire w = {0};
    memset(message, 0, sizeof *message);
    message->kind = frame->kind;
    w.in = frame->payload;
    w.length = frame->length;
    if (!fields(&w, message)) {
        return TR_UNKNOWN_KIND;
    }
    return w.bad || w.at != w.length ? TR_MALFORMED : TR_OK;
}

size_t tr_encode(const struct tr_message *message, uint16_t sequence, uint8_t *out, size_t room)
{
    uint8_t payload[TR_MAX_PAYLOAD];
    struct tr_message copy = *message;
    struct wire w = {0};
    w.out = payload;
    w.length = sizeof payload;
    if (!fields(&w, &copy) || w.bad) {
        return 0;
    }
    return tr_encode_frame(message->kind, sequence, payload, w.at, out, room);
}

uint32_t tr_configuration_crc(const struct tr_configuration *asked)
{
    uint8_t bytes[TR_CONFIGURATION_BYTES];
    struct tr_configuration copy = *asked;
    struct wire w = {0};
    w.out = bytes;
    w.length = sizeof bytes;
    configuration(&w, &copy);
    return tr_crc32c(bytes, w.at);
}

int tr_configuration_out_of_range(const struct tr_configuration *c)
{
    const int good[13] = {
        c->sample_period_us >= 1 && c->sample_period_us <= 1000000,
        c->torque_limit_raw <= TR_FULL_SCALE_COUNTS,
        c->slew_limit_raw_per_ms >= 1,
        c->rim_speed_limit_mrad_s >= 1,
        1,
        c->window_high_urad > c->window_low_urad,
        1,
        c->sensor_torque_limit_mnm >= 1,
        1,
        c->watchdog_us >= 1000 && c->watchdog_us <= 1000000,
        c->setpoint_expiry_us >= 500 && c->setpoint_expiry_us <= 1000000,
        1,
        c->brake_us <= 10000000};
    int i;
    for (i = 0; i < 13; i++) {
        if (!good[i]) {
            return i;
        }
    }
    return -1;
}

int32_t tr_samples_count(const struct tr_samples *m, size_t row, size_t at, uint8_t width)
{
    struct wire w = {0};
    int16_t narrow = 0;
    int32_t wide = 0;
    if (row >= m->rows || at + width > m->row_bytes) {
        return 0;
    }
    w.in = m->counts + row * m->row_bytes + at;
    w.length = width;
    if (width == TR_I16) {
        i16(&w, &narrow);
        return narrow;
    }
    i32(&w, &wide);
    return w.bad ? 0 : wide;
}
