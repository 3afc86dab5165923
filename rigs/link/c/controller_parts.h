/* What the files of the controller share. */
#ifndef TRUERIM_CONTROLLER_PARTS_H
#define TRUERIM_CONTROLLER_PARTS_H

#include "controller.h"

/* Free bytes that must stay for what is more important, by what a frame is. */
enum tr_keep { TR_KEEP_ANSWER = 0, TR_KEEP_STATUS = 768, TR_KEEP_EVENT = 1024, TR_KEEP_SAMPLES = 2048 };
/* Free bytes without which no message but a stop is carried out. */
#define TR_ROOM_TO_ANSWER 512

/* Reports that could flood the line. */
enum tr_rationed { TR_RATION_BAD_FRAME, TR_RATION_VERSION, TR_RATION_LIMITED };

/* controller_line.c: frames out, samples. */
int tr_send(struct tr_controller *c, const struct tr_message *message, enum tr_keep keep);
void tr_report_event(struct tr_controller *c, enum tr_event_code code, int32_t detail);
void tr_report_status(struct tr_controller *c, enum tr_keep keep);
void tr_report_stopped(struct tr_controller *c, uint8_t mode);
void tr_refuse(struct tr_controller *c, uint8_t kind, uint16_t sequence, enum tr_refusal_code code, int32_t detail);
void tr_bad_frame(struct tr_controller *c, int of_other_version);
int tr_may_report(struct tr_controller *c, enum tr_rationed what);
void tr_sampling_begin(struct tr_controller *c);
void tr_sampling_end(struct tr_controller *c);
void tr_sample(struct tr_controller *c);
int tr_sampling_stalled(const struct tr_controller *c);

/* controller_play.c: the queue. */
uint16_t tr_credit(const struct tr_controller *c);
void tr_queue_clear(struct tr_controller *c);
enum tr_refusal_code tr_queue_take(struct tr_controller *c, const struct tr_setpoints *m, int32_t *detail);
int tr_queue_advance(struct tr_controller *c);
void tr_queue_apply(struct tr_controller *c);

/* controller.c: states. */
void tr_trip(struct tr_controller *c, enum tr_trip_cause cause);
void tr_stop_now(struct tr_controller *c, const struct tr_frame *frame);
void tr_look(struct tr_controller *c);

/* controller_messages.c */
void tr_carry_out(struct tr_controller *c, const struct tr_stored_frame *frame);
int tr_feed_is_fresh(const struct tr_controller *c);

#endif
