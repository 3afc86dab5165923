/* The controller under a script, for tests: one command a line on standard input, one line of answer. Time is the script's.
 *
 *     rx HEX        bytes from the bench, in the middle of a step
 *     step N        N control steps
 *     set WHAT N    torque, rim, temperature, supply: counts; turn: rim counts a step; stop: the input; valid: of the encoder
 *     fault N       a fault of the board
 *     take          what goes out
 *
 * The answer is the power stage's state, its counts, and for `take` the bytes in hexadecimal. */
#include "controller.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define STEP_US 250u

static const struct tr_channel channels[] = {
    {0, TR_CHANNEL_SETPOINT, TR_I16, TR_NEWTON_METRE, 1e-3, 0.0, -32768, 32767, 0, "setpoint"},
    {1, TR_CHANNEL_TORQUE, TR_I16, TR_NEWTON_METRE, 1e-3, 0.0, -13000, 13000, 0, "torque"},
    {2, TR_CHANNEL_RIM_ANGLE, TR_I32, TR_RADIAN, 1e-5, 0.0, -2147483647, 2147483647, 0, "rim_angle"},
    {3, TR_CHANNEL_TEMPERATURE, TR_I16, TR_CELSIUS, 0.01, 0.0, -4000, 20000, 0, "temperature"},
    {4, TR_CHANNEL_SUPPLY, TR_I16, TR_VOLT, 0.001, 0.0, -32767, 32767, 0, "supply"}};

static struct {
    enum tr_power power;
    int counts, torque, rim, turn, temperature, supply, stop, valid;
} rig = {TR_POWER_OFF, 0, 0, 0, 0, 2500, 24000, 1, 1};

static void torque_out(void *context, enum tr_power power, int16_t counts)
{
    (void)context;
    rig.power = power;
    rig.counts = counts;
}

static int encoder_in(void *context, struct tr_angles *angles)
{
    (void)context;
    rig.rim += rig.turn;
    angles->rim = rig.rim;
    angles->motor = 0;
    return rig.valid;
}

static int adc_in(void *context, struct tr_inputs *inputs)
{
    (void)context;
    memset(inputs, 0, sizeof *inputs);
    inputs->torque = rig.torque;
    inputs->temperature = rig.temperature;
    inputs->supply = rig.supply;
    inputs->emergency_stop_closed = (uint8_t)rig.stop;
    return 1;
}

static int *named(const char *what)
{
    static const struct {
        const char *name;
        int *place;
    } all[] = {{"torque", &rig.torque}, {"rim", &rig.rim},   {"temperature", &rig.temperature}, {"supply", &rig.supply},
               {"turn", &rig.turn},     {"stop", &rig.stop}, {"valid", &rig.valid}};
    size_t i;
    for (i = 0; i < sizeof all / sizeof all[0]; i++) {
        if (strcmp(all[i].name, what) == 0) {
            return all[i].place;
        }
    }
    return NULL;
}

int main(void)
{
    static struct tr_controller c;
    static char line[16384];
    static uint8_t bytes[8192];
    const struct tr_board board = {NULL, torque_out, encoder_in, adc_in};
    struct tr_settings settings;
    uint64_t now = 1000;
    memset(&settings, 0, sizeof settings);
    settings.model = "script";
    settings.serial = "S-1";
    settings.firmware = "1";
    settings.capabilities = TR_CAN_BRAKE | TR_HAS_EMERGENCY_STOP_INPUT | TR_SIMULATED;
    settings.full_scale_nm = 32.767;
    settings.step_us = STEP_US;
    settings.min_sample_period_us = 250;
    settings.channel_count = sizeof channels / sizeof channels[0];
    settings.channels = channels;
    settings.torque_limit_raw = 20000;
    settings.rim_speed_limit_mrad_s = 60000;
    settings.sensor_torque_limit_mnm = 15000;
    settings.temperature_limit_cdeg = 10000;
    settings.supply_low_v = 18.0;
    settings.supply_high_v = 30.0;
    settings.seed = 7;
    tr_controller_boot(&c, &settings, &board, now);
    while (fgets(line, sizeof line, stdin) != NULL) {
        char *word = strtok(line, " \n"), *first = strtok(NULL, " \n"), *second = strtok(NULL, " \n");
        size_t n = 0, i;
        if (word == NULL) {
            continue;
        }
        if (strcmp(word, "rx") == 0 && first != NULL) {
            for (n = 0; first[2 * n] != 0 && first[2 * n + 1] != 0 && n < sizeof bytes; n++) {
                char pair[3] = {first[2 * n], first[2 * n + 1], 0};
                bytes[n] = (uint8_t)strtoul(pair, NULL, 16);
            }
            tr_controller_receive(&c, now, bytes, n);
            n = 0;
        } else if (strcmp(word, "step") == 0 && first != NULL) {
            long steps = strtol(first, NULL, 10);
            for (; steps > 0; steps--) {
                now += STEP_US;
                tr_controller_step(&c, now);
            }
        } else if (strcmp(word, "set") == 0 && first != NULL && second != NULL && named(first) != NULL) {
            *named(first) = (int)strtol(second, NULL, 10);
        } else if (strcmp(word, "fault") == 0 && first != NULL) {
            tr_controller_fault(&c, (uint8_t)strtoul(first, NULL, 10));
        } else if (strcmp(word, "take") == 0) {
            n = tr_controller_transmit(&c, bytes, sizeof bytes);
        } else {
            fprintf(stderr, "no command: %s\n", word);
            return 2;
        }
        printf("%d %d ", (int)rig.power, rig.counts);
        for (i = 0; i < n; i++) {
            printf("%02x", bytes[i]);
        }
        printf("\n");
        fflush(stdout);
    }
    return 0;
}
