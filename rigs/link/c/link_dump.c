/* Reads a stream of bytes on standard input and prints, for every candidate between delimiters, what it is: why it is no
 * frame, or its sequence, kind and fields in the order of chapter 5, codes as numbers, doubles as the bits of IEEE 754, text
 * as bytes; then `= ` and the frame that encoding the message again gives. For tests against other codecs.
 *
 * With arguments each is a candidate in hexadecimal, and what unstuffing makes of it is printed instead. */
#include "truerim_link.h"

#include <stdio.h>
#include <string.h>

static char line[8192];
static size_t used;

static void put(const char *text)
{
    while (*text != 0 && used < sizeof line - 1) {
        line[used++] = *text++;
    }
}

static void put_hex(const uint8_t *bytes, size_t length)
{
    static const char digits[] = "0123456789abcdef";
    size_t i;
    for (i = 0; i < length && used < sizeof line - 2; i++) {
        line[used++] = digits[bytes[i] >> 4];
        line[used++] = digits[bytes[i] & 15];
    }
}

static void put_unsigned(const char *name, uint64_t value)
{
    char digits[24];
    size_t i = sizeof digits - 1;
    digits[i] = 0;
    do {
        digits[--i] = (char)('0' + value % 10);
        value /= 10;
    } while (value > 0);
    put(name);
    put(digits + i);
}

static void put_signed(const char *name, int64_t value)
{
    put(name);
    if (value < 0) {
        put("-");
    }
    put_unsigned("", value < 0 ? (uint64_t)(-value) : (uint64_t)value);
}

static void put_double(const char *name, double value)
{
    uint64_t bits;
    memcpy(&bits, &value, 8);
    put_unsigned(name, bits);
}

static void put_text(const char *name, const char *value)
{
    put(name);
    put_hex((const uint8_t *)value, strlen(value));
}

static void configuration(const struct tr_configuration *m)
{
    put_unsigned(" sample_period_us=", m->sample_period_us);
    put_unsigned(" torque_limit_raw=", m->torque_limit_raw);
    put_unsigned(" slew_limit_raw_per_ms=", m->slew_limit_raw_per_ms);
    put_unsigned(" rim_speed_limit_mrad_s=", m->rim_speed_limit_mrad_s);
    put_signed(" window_low_urad=", m->window_low_urad);
    put_signed(" window_high_urad=", m->window_high_urad);
    put_unsigned(" window_reference=", m->window_reference);
    put_unsigned(" sensor_torque_limit_mnm=", m->sensor_torque_limit_mnm);
    put_signed(" temperature_limit_cdeg=", m->temperature_limit_cdeg);
    put_unsigned(" watchdog_us=", m->watchdog_us);
    put_unsigned(" setpoint_expiry_us=", m->setpoint_expiry_us);
    put_unsigned(" stop_mode=", m->stop_mode);
    put_unsigned(" brake_us=", m->brake_us);
}

static void from_bench(const struct tr_message *message)
{
    size_t i;
    switch (message->kind) {
    case TR_HELLO:
        put("Hello");
        put_unsigned(" major=", message->as.hello.major);
        put_unsigned(" minor=", message->as.hello.minor);
        put_unsigned(" nonce=", message->as.hello.nonce);
        break;
    case TR_DESCRIBE_CHANNEL:
        put_unsigned("DescribeChannel index=", message->as.describe_channel.index);
        break;
    case TR_CONFIGURE:
        put("Configure");
        configuration(&message->as.configure);
        break;
    case TR_START_SAMPLING:
        put("StartSampling");
        break;
    case TR_STOP_SAMPLING:
        put("StopSampling");
        break;
    case TR_STATUS_REQUEST:
        put("StatusRequest");
        break;
    case TR_ARM_REQUEST:
        put_unsigned("ArmRequest configuration_crc=", message->as.arm_request.configuration_crc);
        break;
    case TR_ARM_CONFIRM:
        put_unsigned("ArmConfirm challenge=", message->as.arm_confirm.challenge);
        put_unsigned(" configuration_crc=", message->as.arm_confirm.configuration_crc);
        break;
    case TR_KEEP_ALIVE:
        put_unsigned("KeepAlive host_ns=", message->as.keep_alive.host_ns);
        break;
    case TR_SETPOINTS:
        put_unsigned("Setpoints first_tick=", message->as.setpoints.first_tick);
        if (message->as.setpoints.count > 1) { /* else it means nothing */
            put_unsigned(" period_us=", message->as.setpoints.period_us);
        }
        put_unsigned(" ends=", message->as.setpoints.ends);
        put(" values=");
        for (i = 0; i < message->as.setpoints.count; i++) {
            put_signed(i == 0 ? "" : ",", message->as.setpoints.values[i]);
        }
        break;
    case TR_STOP:
        put_unsigned("Stop mode=", message->as.stop.mode);
        put_unsigned(" reason=", message->as.stop.reason);
        break;
    case TR_CLEAR_TRIP:
        put_unsigned("ClearTrip trips=", message->as.clear_trip.trips);
        break;
    default:
        break;
    }
}

static void who_and_what(const struct tr_message *message)
{
    const struct tr_identity *who = &message->as.identity;
    const struct tr_channel *what = &message->as.channel;
    if (message->kind == TR_IDENTITY) {
        put_unsigned("Identity major=", who->major);
        put_unsigned(" minor=", who->minor);
        put_unsigned(" nonce=", who->nonce);
        put_unsigned(" boot_id=", who->boot_id);
        put_unsigned(" tick=", who->tick);
        put_unsigned(" capabilities=", who->capabilities);
        put_unsigned(" channels=", who->channels);
        put_unsigned(" queue_capacity=", who->queue_capacity);
        put_unsigned(" min_sample_period_us=", who->min_sample_period_us);
        put_double(" full_scale_nm=", who->full_scale_nm);
        put_text(" model=", who->model);
        put_text(" serial=", who->serial);
        put_text(" firmware=", who->firmware);
    } else {
        put_unsigned("Channel index=", what->index);
        put_unsigned(" kind=", what->kind);
        put_unsigned(" width=", what->width);
        put_unsigned(" unit=", what->unit);
        put_double(" scale=", what->scale);
        put_double(" offset=", what->offset);
        put_signed(" raw_min=", what->raw_min);
        put_signed(" raw_max=", what->raw_max);
        put_unsigned(" group_delay_ns=", what->group_delay_ns);
        put_text(" name=", what->name);
    }
}

static void status(const struct tr_status *m)
{
    put_unsigned("Status tick=", m->tick);
    put_unsigned(" state=", m->state);
    put_unsigned(" trip=", m->trip);
    put_unsigned(" sampling=", m->sampling);
    put_unsigned(" emergency_stop_closed=", m->emergency_stop_closed);
    put_unsigned(" credit=", m->credit);
    put_unsigned(" trips=", m->trips);
    put_unsigned(" underruns=", m->underruns);
    put_unsigned(" late_setpoints=", m->late_setpoints);
    put_unsigned(" expired=", m->expired);
    put_unsigned(" bad_frames=", m->bad_frames);
    put_unsigned(" lost_batches=", m->lost_batches);
    put_signed(" armed_angle_urad=", m->armed_angle_urad);
}

/* Rows are shown as bytes, and again as counts when every channel is of 2 bytes. */
static void samples(const struct tr_samples *m)
{
    size_t row, at;
    put_unsigned("Samples first_tick=", m->first_tick);
    put_unsigned(" period_us=", m->period_us);
    put_unsigned(" state=", m->state);
    put_unsigned(" credit=", m->credit);
    put_unsigned(" row_bytes=", m->row_bytes);
    put_unsigned(" rows=", m->rows);
    put(" counts=");
    for (row = 0; row < m->rows; row++) {
        for (at = 0; at + 2 <= m->row_bytes; at += 2) {
            put_signed(row + at == 0 ? "" : ",", tr_samples_count(m, row, at, TR_I16));
        }
    }
    put(" bytes=");
    put_hex(m->counts, (size_t)m->row_bytes * m->rows);
}

static void from_rig(const struct tr_message *message)
{
    switch (message->kind) {
    case TR_IDENTITY:
    case TR_CHANNEL:
        who_and_what(message);
        break;
    case TR_CONFIGURED:
        put("Configured");
        configuration(&message->as.configured.applied);
        put_unsigned(" crc=", message->as.configured.crc);
        put_unsigned(" own_crc=", tr_configuration_crc(&message->as.configured.applied));
        put_signed(" out_of_range=", tr_configuration_out_of_range(&message->as.configured.applied));
        break;
    case TR_ARM_CHALLENGE:
        put_unsigned("ArmChallenge challenge=", message->as.arm_challenge.challenge);
        put_unsigned(" valid_us=", message->as.arm_challenge.valid_us);
        break;
    case TR_STATUS:
        status(&message->as.status);
        break;
    case TR_SAMPLES:
        samples(&message->as.samples);
        break;
    case TR_ECHO:
        put_unsigned("Echo host_ns=", message->as.echo.host_ns);
        put_unsigned(" received_tick=", message->as.echo.received_tick);
        put_unsigned(" sent_tick=", message->as.echo.sent_tick);
        break;
    case TR_EVENT:
        put_unsigned("Event tick=", message->as.event.tick);
        put_unsigned(" number=", message->as.event.number);
        put_unsigned(" code=", message->as.event.code);
        put_signed(" detail=", message->as.event.detail);
        break;
    case TR_REFUSED:
        put_unsigned("Refused kind=", message->as.refused.kind);
        put_unsigned(" sequence=", message->as.refused.sequence);
        put_unsigned(" code=", message->as.refused.code);
        put_signed(" detail=", message->as.refused.detail);
        break;
    case TR_STOPPED:
        put_unsigned("Stopped tick=", message->as.stopped.tick);
        put_unsigned(" mode=", message->as.stopped.mode);
        put_unsigned(" state=", message->as.stopped.state);
        break;
    default:
        break;
    }
}

static void show(enum tr_result result, const struct tr_frame *frame)
{
    static const char *const words[] = {"", "", "", "stuffing", "length", "checksum", "version"};
    struct tr_message message;
    uint8_t out[TR_MAX_FRAME];
    used = 0;
    if (result != TR_FRAME) {
        put(words[result]);
        return;
    }
    put_unsigned("", frame->sequence);
    put(" ");
    result = tr_parse(frame, &message);
    if (result == TR_OK) {
        if (frame->kind < 0x80) {
            from_bench(&message);
        } else {
            from_rig(&message);
        }
        put(" = ");
        put_hex(out, tr_encode(&message, frame->sequence, out, sizeof out));
    } else {
        put_unsigned(result == TR_UNKNOWN_KIND ? "unknown " : "malformed ", frame->kind);
        put_unsigned(" ", frame->length);
    }
}

/* A candidate as it stands, without the splitter, which would never hand on a zero. */
static void show_unstuffed(const char *text)
{
    uint8_t stuffed[TR_MAX_STUFFED], body[TR_MAX_RAW];
    size_t length = 0, made = 0;
    unsigned byte;
    used = 0;
    while (length < sizeof stuffed && sscanf(text + 2 * length, "%2x", &byte) == 1) {
        stuffed[length++] = (uint8_t)byte;
    }
    if (tr_unstuff(stuffed, length, body, sizeof body, &made) == TR_OK) {
        put("= ");
        put_hex(body, made);
    } else {
        put("refused");
    }
}

int main(int argc, char **argv)
{
    static struct tr_splitter splitter;
    static uint8_t chunk[65536];
    struct tr_frame frame;
    size_t length, i;
    int argument;
    for (argument = 1; argument < argc; argument++) {
        show_unstuffed(argv[argument]);
        line[used] = 0;
        puts(line);
    }
    if (argc > 1) {
        return 0;
    }
    tr_splitter_init(&splitter);
    while ((length = fread(chunk, 1, sizeof chunk, stdin)) > 0) {
        for (i = 0; i < length; i++) {
            enum tr_result result = tr_splitter_push(&splitter, chunk[i], &frame);
            if (result == TR_NOTHING) {
                continue;
            }
            show(result, &frame);
            line[used] = 0;
            if (puts(line) == EOF) {
                return 1;
            }
        }
    }
    printf("bad=%lu\n", (unsigned long)splitter.bad);
    return 0;
}
