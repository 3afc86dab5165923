/* The rig link in plain C99: frames and messages between a bench and a rig controller, as PROTOCOL.md beside this folder
 * specifies them. No allocation, no I/O, no state beyond what the caller hands over; needs stdint, stddef and string.
 *
 * Nothing here reads or writes outside the buffers given, whatever the bytes; every length is checked before it is used.
 * Errors are values. A `double` must be an IEEE 754 double of 8 bytes (some 8-bit compilers need an option for that).
 *
 *     struct tr_splitter in;                       // once
 *     tr_splitter_init(&in);
 *     if (tr_splitter_push(&in, byte, &frame) == TR_FRAME && tr_parse(&frame, &message) == TR_OK) ...
 */
#ifndef TRUERIM_LINK_H
#define TRUERIM_LINK_H

#include <stddef.h>
#include <stdint.h>

/* Chapter 9. */
#define TR_PROTOCOL_MAJOR 1
#define TR_PROTOCOL_MINOR 0
#define TR_HEADER 4
#define TR_CHECKSUM 4
#define TR_MAX_PAYLOAD 496
#define TR_MAX_RAW 504
#define TR_MAX_STUFFED 506
#define TR_MAX_FRAME 507
#define TR_TICKS_PER_S 1000000
#define TR_FULL_SCALE_COUNTS 32767
#define TR_MAX_SETPOINTS 64
#define TR_MAX_CHANNELS 16
#define TR_CHALLENGE_VALID_US 2000000
#define TR_ARM_IDLE_US 10000000
#define TR_HORIZON_US 10000000

/* Bytes of a Samples payload before its rows, and the most bytes of rows behind them. */
#define TR_SAMPLES_HEAD 17
#define TR_MAX_ROWS (TR_MAX_PAYLOAD - TR_SAMPLES_HEAD)
/* Bytes of a Configure payload: what a configuration's CRC is over. */
#define TR_CONFIGURATION_BYTES 40

/* What a call found. */
enum tr_result {
    TR_OK = 0,
    TR_NOTHING,      /* no candidate is complete yet */
    TR_FRAME,        /* a good frame is complete */
    TR_BAD_STUFFING, /* bytes between delimiters are not COBS */
    TR_BAD_LENGTH,   /* shorter than header and checksum, or longer than TR_MAX_RAW */
    TR_BAD_CHECKSUM,
    TR_BAD_VERSION,  /* whole, but of another major version */
    TR_UNKNOWN_KIND, /* no message has this kind */
    TR_MALFORMED,    /* payload too short, too long, or a value without meaning */
    TR_NO_ROOM       /* the output is too short, or the message holds more than a frame can */
};

/* Chapter 5. */
enum tr_kind {
    TR_HELLO = 0x01,
    TR_DESCRIBE_CHANNEL = 0x02,
    TR_CONFIGURE = 0x03,
    TR_START_SAMPLING = 0x04,
    TR_STOP_SAMPLING = 0x05,
    TR_ARM_REQUEST = 0x06,
    TR_ARM_CONFIRM = 0x07,
    TR_KEEP_ALIVE = 0x08,
    TR_SETPOINTS = 0x09,
    TR_STOP = 0x0A,
    TR_CLEAR_TRIP = 0x0B,
    TR_STATUS_REQUEST = 0x0C,
    TR_IDENTITY = 0x81,
    TR_CHANNEL = 0x82,
    TR_CONFIGURED = 0x83,
    TR_ARM_CHALLENGE = 0x84,
    TR_STATUS = 0x85,
    TR_SAMPLES = 0x86,
    TR_ECHO = 0x87,
    TR_EVENT = 0x88,
    TR_REFUSED = 0x89,
    TR_STOPPED = 0x8A
};

/* Chapter 6. */
enum tr_rig_state { TR_IDLE = 0, TR_READY = 1, TR_ARMED = 2, TR_STOPPING = 3, TR_TRIPPED = 4 };

enum tr_trip_cause {
    TR_TRIP_NONE = 0,
    TR_TRIP_WATCHDOG = 1,
    TR_TRIP_SETPOINT_EXPIRED = 2,
    TR_TRIP_RIM_SPEED = 3,
    TR_TRIP_RIM_WINDOW = 4,
    TR_TRIP_SENSOR_TORQUE = 5,
    TR_TRIP_TEMPERATURE = 6,
    TR_TRIP_EMERGENCY_STOP = 7,
    TR_TRIP_SENSOR_FAULT = 8,
    TR_TRIP_SUPPLY = 9,
    TR_TRIP_INTERNAL = 10
};

enum tr_stop_mode { TR_COAST = 0, TR_BRAKE = 1 };

enum tr_stop_reason { TR_FINISHED = 0, TR_INTERLOCK = 1, TR_OPERATOR = 2, TR_FAILURE = 3, TR_TEST = 4 };

enum tr_window_reference { TR_FROM_ZERO = 0, TR_FROM_ARMING = 1 };

enum tr_channel_kind {
    TR_CHANNEL_SETPOINT = 0,
    TR_CHANNEL_TORQUE = 1,
    TR_CHANNEL_RIM_ANGLE = 2,
    TR_CHANNEL_MOTOR_ANGLE = 3,
    TR_CHANNEL_CURRENT = 4,
    TR_CHANNEL_TEMPERATURE = 5,
    TR_CHANNEL_SUPPLY = 6,
    TR_CHANNEL_OTHER = 7
};

enum tr_unit {
    TR_ONE = 0,
    TR_NEWTON_METRE = 1,
    TR_RADIAN = 2,
    TR_AMPERE = 3,
    TR_CELSIUS = 4,
    TR_VOLT = 5,
    TR_RADIAN_PER_SECOND = 6
};

enum tr_width { TR_I16 = 2, TR_I32 = 4 };

enum tr_event_code {
    TR_EVENT_BOOTED = 0,
    TR_EVENT_ARMED = 1,
    TR_EVENT_DISARMED = 2,
    TR_EVENT_TRIPPED = 3,
    TR_EVENT_SETPOINT_LIMITED = 4,
    TR_EVENT_UNDERRUN = 5,
    TR_EVENT_LATE_SETPOINT = 6,
    TR_EVENT_BAD_FRAME = 7,
    TR_EVENT_ARM_IDLE = 8,
    TR_EVENT_EMERGENCY_STOP_INPUT = 9,
    TR_EVENT_BRAKE_RELEASED = 10,
    TR_EVENT_STOPPED = 11
};

enum tr_refusal_code {
    TR_REFUSED_UNKNOWN_KIND = 1,
    TR_REFUSED_MALFORMED = 2,
    TR_REFUSED_WRONG_STATE = 3,
    TR_REFUSED_OUT_OF_RANGE = 4,
    TR_REFUSED_WRONG_CHALLENGE = 5,
    TR_REFUSED_WRONG_CONFIGURATION = 6,
    TR_REFUSED_QUEUE_FULL = 7,
    TR_REFUSED_OUT_OF_ORDER = 8,
    TR_REFUSED_CAUSE_REMAINS = 9,
    TR_REFUSED_EMERGENCY_STOP_OPEN = 10,
    TR_REFUSED_VERSION = 11,
    TR_REFUSED_NOT_ZERO = 12
};

/* Bits of an Identity's capabilities. */
#define TR_CAN_BRAKE 1u
#define TR_HAS_EMERGENCY_STOP_INPUT 2u
#define TR_SIMULATED 4u

/* Messages, field by field as in chapter 5; codes are bytes with the values of the enums above. Text fields have one byte
 * more than on the wire, so that they always end in a zero. */
struct tr_hello {
    uint8_t major, minor;
    uint32_t nonce;
};

struct tr_describe_channel {
    uint8_t index;
};

struct tr_configuration {
    uint32_t sample_period_us;
    uint16_t torque_limit_raw;
    uint16_t slew_limit_raw_per_ms;
    uint32_t rim_speed_limit_mrad_s;
    int32_t window_low_urad, window_high_urad;
    uint8_t window_reference;
    uint32_t sensor_torque_limit_mnm;
    int16_t temperature_limit_cdeg;
    uint32_t watchdog_us;
    uint32_t setpoint_expiry_us;
    uint8_t stop_mode;
    uint32_t brake_us;
};

struct tr_arm_request {
    uint32_t configuration_crc;
};

struct tr_arm_confirm {
    uint32_t challenge, configuration_crc;
};

struct tr_keep_alive {
    uint64_t host_ns;
};

struct tr_setpoints {
    uint64_t first_tick;
    uint32_t period_us;
    uint8_t ends, count;
    int16_t values[TR_MAX_SETPOINTS];
};

struct tr_stop {
    uint8_t mode, reason;
};

struct tr_clear_trip {
    uint32_t trips;
};

struct tr_identity {
    uint8_t major, minor;
    uint32_t nonce, boot_id;
    uint64_t tick;
    uint16_t capabilities;
    uint8_t channels;
    uint16_t queue_capacity;
    uint32_t min_sample_period_us;
    double full_scale_nm;
    char model[25], serial[17], firmware[17];
};

struct tr_channel {
    uint8_t index, kind, width, unit;
    double scale, offset;
    int32_t raw_min, raw_max;
    uint32_t group_delay_ns;
    char name[17];
};

struct tr_configured {
    struct tr_configuration applied;
    uint32_t crc;
};

struct tr_arm_challenge {
    uint32_t challenge, valid_us;
};

struct tr_status {
    uint64_t tick;
    uint8_t state, trip, sampling, emergency_stop_closed;
    uint16_t credit;
    uint32_t trips, underruns, late_setpoints, expired, bad_frames, lost_batches;
    int32_t armed_angle_urad;
};

/* `counts` are the rows as on the wire, rows * row_bytes bytes; a parsed message points into its frame. */
struct tr_samples {
    uint64_t first_tick;
    uint32_t period_us;
    uint8_t state;
    uint16_t credit;
    uint8_t row_bytes, rows;
    const uint8_t *counts;
};

struct tr_echo {
    uint64_t host_ns, received_tick, sent_tick;
};

struct tr_event {
    uint64_t tick;
    uint32_t number;
    uint8_t code;
    int32_t detail;
};

struct tr_refused {
    uint8_t kind;
    uint16_t sequence;
    uint8_t code;
    int32_t detail;
};

struct tr_stopped {
    uint64_t tick;
    uint8_t mode, state;
};

/* Any message; `kind` says which member of `as` holds it. Kinds without fields use none. */
struct tr_message {
    uint8_t kind;
    union {
        struct tr_hello hello;
        struct tr_describe_channel describe_channel;
        struct tr_configuration configure;
        struct tr_arm_request arm_request;
        struct tr_arm_confirm arm_confirm;
        struct tr_keep_alive keep_alive;
        struct tr_setpoints setpoints;
        struct tr_stop stop;
        struct tr_clear_trip clear_trip;
        struct tr_identity identity;
        struct tr_channel channel;
        struct tr_configured configured;
        struct tr_arm_challenge arm_challenge;
        struct tr_status status;
        struct tr_samples samples;
        struct tr_echo echo;
        struct tr_event event;
        struct tr_refused refused;
        struct tr_stopped stopped;
    } as;
};

/* A frame that passed its checks. `payload` points into the buffer it was decoded to. */
struct tr_frame {
    uint8_t kind;
    uint16_t sequence;
    size_t length;
    const uint8_t *payload;
};

/* CRC-32C of `length` bytes (check value of "123456789": 0xE3069283). */
uint32_t tr_crc32c(const uint8_t *bytes, size_t length);

/* Stuffs `length` bytes into `out`, without a delimiter; returns the stuffed length, or 0 when `room` is too small.
 * `body` and `out` must not overlap. */
size_t tr_stuff(const uint8_t *body, size_t length, uint8_t *out, size_t room);

/* Takes the stuffing out. TR_OK, TR_BAD_STUFFING, or TR_BAD_LENGTH when the body is longer than `room`. `out` may be
 * `stuffed` itself. */
enum tr_result tr_unstuff(const uint8_t *stuffed, size_t length, uint8_t *out, size_t room, size_t *unstuffed);

/* Writes one frame with its closing delimiter; returns its length, or 0 when the payload or the frame does not fit.
 * TR_MAX_FRAME bytes of room are always enough. */
size_t tr_encode_frame(uint8_t kind, uint16_t sequence, const uint8_t *payload, size_t length, uint8_t *out, size_t room);

/* Checks the `length` bytes between two delimiters, in the order of chapter 3, and unstuffs them into `raw`. TR_FRAME,
 * or which check failed; nothing of a frame that failed may be used, but for TR_BAD_VERSION the bytes arrived whole. */
enum tr_result tr_decode_frame(const uint8_t *stuffed, size_t length, uint8_t raw[TR_MAX_RAW], struct tr_frame *frame);

/* Finds frames in a stream of bytes. Its memory is bounded, whatever comes. */
struct tr_splitter {
    uint8_t pending[TR_MAX_STUFFED];
    uint8_t raw[TR_MAX_RAW];
    size_t length;
    uint8_t overlong;
    uint32_t bad; /* candidates that failed a check since the start; stays at its greatest value */
};

void tr_splitter_init(struct tr_splitter *splitter);

/* Takes one byte. TR_NOTHING, TR_FRAME (`frame` is valid until the next call), or why the candidate that this byte closed
 * is none. */
enum tr_result tr_splitter_push(struct tr_splitter *splitter, uint8_t byte, struct tr_frame *frame);

/* Gives a frame's payload its meaning. TR_OK, TR_UNKNOWN_KIND or TR_MALFORMED. Both directions are understood; a rig
 * refuses kinds of 0x80 and above before it parses (chapter 7.3). */
enum tr_result tr_parse(const struct tr_frame *frame, struct tr_message *message);

/* Writes a message as a whole frame; returns its length, or 0 when it does not fit or its kind is unknown. Values are
 * written as they are; it is the sender's duty to keep to the ranges. */
size_t tr_encode(const struct tr_message *message, uint16_t sequence, uint8_t *out, size_t room);

/* CRC-32C of the 40 bytes of a configuration. */
uint32_t tr_configuration_crc(const struct tr_configuration *configuration);

/* Index of the first field of a configuration outside the range of chapter 5.3, counted from 0; -1 when all are good. */
int tr_configuration_out_of_range(const struct tr_configuration *configuration);

/* Count of the channel that begins at byte `at` of row `row`, `width` bytes wide; 0 outside the rows. */
int32_t tr_samples_count(const struct tr_samples *samples, size_t row, size_t at, uint8_t width);

#endif
