/* Frames: CRC-32C, COBS, header, and finding them in a stream (PROTOCOL.md chapters 3 and 4). */
#include "truerim_link.h"

#include <string.h>

uint32_t tr_crc32c(const uint8_t *bytes, size_t length)
{
    /* The remainders of four bits under the reflected polynomial 0x82F63B78: two look-ups a byte, 64 bytes of table. */
    static const uint32_t table[16] = {
        0x00000000u, 0x105EC76Fu, 0x20BD8EDEu, 0x30E349B1u, 0x417B1DBCu, 0x5125DAD3u, 0x61C69362u, 0x7198540Du,
        0x82F63B78u, 0x92A8FC17u, 0xA24BB5A6u, 0xB21572C9u, 0xC38D26C4u, 0xD3D3E1ABu, 0xE330A81Au, 0xF36E6F75u};
    uint32_t crc = 0xFFFFFFFFu;
    size_t i;
    for (i = 0; i < length; i++) {
        crc ^= bytes[i];
        crc = (crc >> 4) ^ table[crc & 15u];
        crc = (crc >> 4) ^ table[crc & 15u];
    }
    return crc ^ 0xFFFFFFFFu;
}

size_t tr_stuff(const uint8_t *body, size_t length, uint8_t *out, size_t room)
{
    size_t at = 1, code_at = 0, i;
    uint8_t count = 1;
    if (room < 1) {
        return 0;
    }
    for (i = 0; i < length; i++) {
        int full;
        if (body[i] != 0) {
            if (at >= room) {
                return 0;
            }
            out[at++] = body[i];
            count++;
        }
        full = count == 255 && i + 1 < length;
        if (body[i] == 0 || full) {
            out[code_at] = count;
            if (at >= room) {
                return 0;
            }
            code_at = at++;
            count = 1;
        }
    }
    out[code_at] = count;
    return at;
}

enum tr_result tr_unstuff(const uint8_t *stuffed, size_t length, uint8_t *out, size_t room, size_t *unstuffed)
{
    size_t in = 0, made = 0;
    if (length == 0 || memchr(stuffed, 0, length) != NULL) {
        return TR_BAD_STUFFING;
    }
    while (in < length) {
        in += stuffed[in];
    }
    if (in != length) {
        return TR_BAD_STUFFING; /* the last group is cut short; looked at before the length, as chapter 3 says */
    }
    in = 0;
    while (in < length) {
        size_t code = stuffed[in++], group = code - 1;
        if (group > room - made) {
            return TR_BAD_LENGTH;
        }
        memmove(out + made, stuffed + in, group);
        made += group;
        in += group;
        if (code != 255 && in < length) {
            if (made >= room) {
                return TR_BAD_LENGTH;
            }
            out[made++] = 0;
        }
    }
    *unstuffed = made;
    return TR_OK;
}

size_t tr_encode_frame(uint8_t kind, uint16_t sequence, const uint8_t *payload, size_t length, uint8_t *out, size_t room)
{
    uint8_t raw[TR_MAX_RAW];
    uint32_t crc;
    size_t stuffed;
    if (length > TR_MAX_PAYLOAD) {
        return 0;
    }
    raw[0] = TR_PROTOCOL_MAJOR;
    raw[1] = kind;
    raw[2] = (uint8_t)(sequence & 0xFFu);
    raw[3] = (uint8_t)(sequence >> 8);
    if (length > 0) {
        memcpy(raw + TR_HEADER, payload, length);
    }
    length += TR_HEADER;
    crc = tr_crc32c(raw, length);
    raw[length++] = (uint8_t)(crc & 0xFFu);
    raw[length++] = (uint8_t)((crc >> 8) & 0xFFu);
    raw[length++] = (uint8_t)((crc >> 16) & 0xFFu);
    raw[length++] = (uint8_t)(crc >> 24);
    stuffed = tr_stuff(raw, length, out, room);
    if (stuffed == 0 || stuffed >= room) {
        return 0;
    }
    out[stuffed] = 0;
    return stuffed + 1;
}

enum tr_result tr_decode_frame(const uint8_t *stuffed, size_t length, uint8_t raw[TR_MAX_RAW], struct tr_frame *frame)
{
    size_t body = 0;
    uint32_t carried;
    enum tr_result result;
    if (length > TR_MAX_STUFFED) {
        return TR_BAD_LENGTH;
    }
    result = tr_unstuff(stuffed, length, raw, TR_MAX_RAW, &body);
    if (result != TR_OK) {
        return result;
    }
    if (body < TR_HEADER + TR_CHECKSUM) {
        return TR_BAD_LENGTH;
    }
    body -= TR_CHECKSUM;
    carried = (uint32_t)raw[body] | (uint32_t)raw[body + 1] << 8 | (uint32_t)raw[body + 2] << 16 |
              (uint32_t)raw[body + 3] << 24;
    if (tr_crc32c(raw, body) != carried) {
        return TR_BAD_CHECKSUM;
    }
    if (raw[0] != TR_PROTOCOL_MAJOR) {
        return TR_BAD_VERSION;
    }
    frame->kind = raw[1];
    frame->sequence = (uint16_t)(raw[2] | raw[3] << 8);
    frame->length = body - TR_HEADER;
    frame->payload = raw + TR_HEADER;
    return TR_FRAME;
}

void tr_splitter_init(struct tr_splitter *splitter)
{
    memset(splitter, 0, sizeof *splitter);
}

enum tr_result tr_splitter_push(struct tr_splitter *splitter, uint8_t byte, struct tr_frame *frame)
{
    enum tr_result result;
    if (byte != 0) {
        if (splitter->length < TR_MAX_STUFFED) {
            splitter->pending[splitter->length++] = byte;
        } else {
            splitter->overlong = 1;
        }
        return TR_NOTHING;
    }
    if (splitter->length == 0) {
        return TR_NOTHING; /* an idle line, or a sender that flushed */
    }
    result = splitter->overlong ? TR_BAD_LENGTH
                                : tr_decode_frame(splitter->pending, splitter->length, splitter->raw, frame);
    splitter->length = 0;
    splitter->overlong = 0;
    if (result != TR_FRAME && splitter->bad < UINT32_MAX) {
        splitter->bad++;
    }
    return result;
}
