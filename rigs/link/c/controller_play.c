/* Playing setpoints: queue, entry in force, expiry, limit and slew (PROTOCOL.md 7.7). */
#include "controller_parts.h"

#define NO_SLEW_LIMIT 65535u

uint16_t tr_credit(const struct tr_controller *c)
{
    return (uint16_t)(TR_QUEUE - c->queue_count);
}

static struct tr_entry *entry_at(struct tr_controller *c, uint16_t place)
{
    return &c->queue[(c->queue_first + place) % TR_QUEUE];
}

void tr_queue_clear(struct tr_controller *c)
{
    c->queue_count = 0;
    c->has_in_force = 0;
    c->played = 0;
    c->slew_left = 0;
    c->last_play = c->now;
    c->idle = 0;
}

/* Takes a message into the queue, or refuses all of it: 0, or the refusal with its detail. */
enum tr_refusal_code tr_queue_take(struct tr_controller *c, const struct tr_setpoints *m, int32_t *detail)
{
    uint64_t last = m->first_tick, horizon = c->now + TR_HORIZON_US;
    uint32_t late = 0;
    uint8_t i;
    *detail = 0;
    if (m->ends && m->values[m->count - 1] != 0) {
        *detail = m->values[m->count - 1];
        return TR_REFUSED_NOT_ZERO;
    }
    if (c->queue_count > 0 && m->first_tick <= entry_at(c, (uint16_t)(c->queue_count - 1))->tick) {
        *detail = (int32_t)(entry_at(c, (uint16_t)(c->queue_count - 1))->tick & 0x7FFFFFFFu);
        return TR_REFUSED_OUT_OF_ORDER;
    }
    if (m->first_tick > horizon) {
        return TR_REFUSED_OUT_OF_RANGE;
    }
    last += (uint64_t)m->period_us * (uint64_t)(m->count - 1); /* both small enough: first_tick is not beyond the horizon */
    if (last > horizon) {
        *detail = 1;
        return TR_REFUSED_OUT_OF_RANGE;
    }
    if (m->count > tr_credit(c)) {
        *detail = tr_credit(c);
        return TR_REFUSED_QUEUE_FULL;
    }
    for (i = 0; i < m->count; i++) {
        uint64_t tick = m->first_tick + (uint64_t)m->period_us * i;
        if (tick < c->now) {
            late++;
        } else {
            struct tr_entry *entry = entry_at(c, c->queue_count++);
            entry->tick = tick;
            entry->raw = m->values[i];
            entry->ends = (uint8_t)(m->ends && i + 1 == m->count);
        }
    }
    if (c->queue_count > 0) {
        c->idle = 0;
    }
    if (late > 0) {
        uint64_t by = c->now - m->first_tick;
        c->late_setpoints += late;
        tr_report_event(c, TR_EVENT_LATE_SETPOINT, by > INT32_MAX ? INT32_MAX : (int32_t)by);
    }
    return (enum tr_refusal_code)0;
}

/* Brings entries into force whose tick has come; 1 when the one in force has expired. */
int tr_queue_advance(struct tr_controller *c)
{
    while (c->queue_count > 0 && entry_at(c, 0)->tick <= c->now) {
        c->in_force = *entry_at(c, 0);
        c->has_in_force = 1;
        c->queue_first = (uint16_t)((c->queue_first + 1) % TR_QUEUE);
        c->queue_count--;
        if (c->queue_count == 0 && !c->in_force.ends) {
            c->underruns++;
            tr_report_event(c, TR_EVENT_UNDERRUN, 0);
        }
    }
    if (c->has_in_force && !c->in_force.ends && c->now - c->in_force.tick > c->applied.setpoint_expiry_us) {
        c->expired++;
        return 1;
    }
    return 0;
}

/* The applied value of this step. */
void tr_queue_apply(struct tr_controller *c)
{
    int32_t wanted = c->has_in_force ? c->in_force.raw : 0;
    int32_t limit = c->applied.torque_limit_raw;
    int32_t target = wanted > limit ? limit : wanted < -limit ? -limit : wanted;
    int32_t distance = target - c->played, moved = distance;
    uint64_t allowance = c->slew_left + (c->now - c->last_play) * c->applied.slew_limit_raw_per_ms;
    c->last_play = c->now;
    if (c->applied.slew_limit_raw_per_ms != NO_SLEW_LIMIT) {
        int32_t most = allowance / 1000 > 65535 ? 65535 : (int32_t)(allowance / 1000);
        moved = distance > most ? most : distance < -most ? -most : distance;
    }
    /* What a step leaves over serves a movement that goes on; one that has arrived keeps nothing in store. */
    c->slew_left = moved == distance ? 0 : allowance % 1000;
    c->played = (int16_t)(c->played + moved);
    if (c->played != wanted && tr_may_report(c, TR_RATION_LIMITED)) {
        tr_report_event(c, TR_EVENT_SETPOINT_LIMITED, wanted);
    }
    if ((c->has_in_force && !c->in_force.ends) || c->queue_count > 0) {
        c->idle = 0;
    } else if (!c->idle) {
        c->idle = 1;
        c->idle_since = c->now;
    }
}
