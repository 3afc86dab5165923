/* The controller skeleton on a computer: a pseudo-terminal for a line and a clamped rim for a plant, so that everything
 * above the three functions can be tried without hardware. POSIX.
 *
 *     controller-pty [--pull-after-ms N]
 *
 * Prints the port to open. Ends when standard input does, or pulls its own line N ms after the last arming with torque; then
 * plays half a second more without a line and prints what the controller did. */
#define _XOPEN_SOURCE 600
#define _DEFAULT_SOURCE

#include "controller.h"

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

#define STEP_US 250u
#define SUBSTEPS 10
#define AFTERWARDS_US 500000u
#define FULL_SCALE_NM 8.0

/* A rotor and rim on a spring to ground, through the torque sensor. */
struct plant {
    double demand_nm, motor_nm, angle_rad, speed_rad_s, sensor_nm;
    uint32_t noise;
    enum tr_power power;
    int16_t counts;
    uint64_t now, off_at, pushed;
};

static const struct tr_channel channels[] = {
    {0, TR_CHANNEL_SETPOINT, TR_I16, TR_NEWTON_METRE, FULL_SCALE_NM / 32767.0, 0.0, -32768, 32767, 0, "setpoint"},
    {1, TR_CHANNEL_TORQUE, TR_I32, TR_NEWTON_METRE, 5e-4, 0.0, -40000, 40000, 0, "torque"},
    {2, TR_CHANNEL_RIM_ANGLE, TR_I32, TR_RADIAN, 2e-6, 0.0, -2147483647, 2147483647, 0, "rim_angle"},
    {3, TR_CHANNEL_TEMPERATURE, TR_I16, TR_CELSIUS, 0.01, 0.0, -4000, 20000, 0, "temperature"},
    {4, TR_CHANNEL_SUPPLY, TR_I16, TR_VOLT, 0.001, 0.0, -32767, 32767, 0, "supply"}};

static uint32_t draw(struct plant *p)
{
    p->noise ^= p->noise << 13; /* Marsaglia 2003 */
    p->noise ^= p->noise >> 17;
    p->noise ^= p->noise << 5;
    return p->noise;
}

static void torque_out(void *context, enum tr_power power, int16_t counts)
{
    struct plant *p = context;
    if (p->power == TR_POWER_TORQUE && power != TR_POWER_TORQUE) {
        p->off_at = p->now;
    }
    p->power = power;
    p->counts = power == TR_POWER_TORQUE ? counts : 0;
    if (p->counts != 0) {
        p->pushed++;
    }
}

static int encoder_in(void *context, struct tr_angles *angles)
{
    const struct plant *p = context;
    angles->rim = (int32_t)(p->angle_rad / 2e-6);
    angles->motor = 0;
    return 1;
}

static int adc_in(void *context, struct tr_inputs *inputs)
{
    struct plant *p = context;
    /* Four uniform draws of ±3 counts: about 2 mN·m of noise. */
    int32_t noise = (int32_t)(draw(p) % 7u + draw(p) % 7u + draw(p) % 7u + draw(p) % 7u) - 12;
    inputs->torque = (int32_t)(p->sensor_nm / 5e-4) + noise;
    inputs->temperature = 2500;
    inputs->supply = 24000 + (int32_t)(draw(p) % 5u);
    inputs->current = inputs->other = 0;
    inputs->emergency_stop_closed = 1;
    return 1;
}

/* Current loop of 1 ms behind a slew of 2 N·m/ms; 0.004 kg·m² on 3,333 N·m/rad, a tenth of critical damping. */
static void move(struct plant *p)
{
    const double dt = STEP_US * 1e-6 / SUBSTEPS;
    double wanted = p->counts * FULL_SCALE_NM / 32767.0;
    int i;
    for (i = 0; i < SUBSTEPS; i++) {
        double most = 2000.0 * dt, change = wanted - p->demand_nm;
        p->demand_nm += change > most ? most : change < -most ? -most : change;
        p->motor_nm += (p->demand_nm - p->motor_nm) * dt / 1e-3;
        p->sensor_nm = 3333.0 * p->angle_rad + 0.73 * p->speed_rad_s;
        p->speed_rad_s += (p->motor_nm - p->sensor_nm) / 0.004 * dt;
        p->angle_rad += p->speed_rad_s * dt;
    }
}

static uint64_t wall_us(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (uint64_t)t.tv_sec * 1000000u + (uint64_t)t.tv_nsec / 1000u;
}

/* Opens both ends; the far one stays open here too, so that the port does not vanish with its user. */
static int open_line(int *far_end)
{
    struct termios raw;
    int line = posix_openpt(O_RDWR | O_NOCTTY);
    const char *name;
    if (line < 0 || grantpt(line) != 0 || unlockpt(line) != 0 || (name = ptsname(line)) == NULL) {
        return -1;
    }
    *far_end = open(name, O_RDWR | O_NOCTTY);
    if (*far_end < 0 || tcgetattr(*far_end, &raw) != 0) {
        return -1;
    }
    raw.c_iflag = raw.c_oflag = raw.c_lflag = 0;
    raw.c_cflag = (raw.c_cflag & ~(tcflag_t)(CSIZE | PARENB)) | CS8;
    if (tcsetattr(*far_end, TCSANOW, &raw) != 0 || fcntl(line, F_SETFL, O_NONBLOCK) != 0) {
        return -1;
    }
    printf("%s\n", name);
    fflush(stdout);
    return line;
}

static void step(struct tr_controller *c, struct plant *p)
{
    p->now += STEP_US;
    tr_controller_step(c, p->now);
    move(p);
}

/* What the line does not take is dropped, as where nobody listens. */
static void send(struct tr_controller *c, int line)
{
    static uint8_t bytes[4096];
    size_t n;
    while ((n = tr_controller_transmit(c, bytes, sizeof bytes)) > 0) {
        if (write(line, bytes, n) < 0 && errno != EAGAIN) {
            return;
        }
    }
}

/* Steps up to this moment; far behind, what is to be said meanwhile does not wait. */
static void catch_up(struct tr_controller *c, struct plant *p, int line, uint64_t started)
{
    uint64_t wall = wall_us() - started, said = p->now;
    while (p->now + STEP_US <= wall) {
        step(c, p);
        if (p->now - said >= 5000u) {
            send(c, line);
            said = p->now;
        }
    }
}

/* Passes bytes on between the line and the controller. */
static void carry(struct tr_controller *c, struct plant *p, int line, uint64_t started)
{
    static uint8_t bytes[4096];
    ssize_t got;
    while ((got = read(line, bytes, sizeof bytes)) > 0) {
        /* Answered on the clock as it is now: an older tick would be before the bench had asked. */
        catch_up(c, p, line, started);
        tr_controller_receive(c, p->now, bytes, (size_t)got);
    }
    send(c, line);
}

int main(int argc, char **argv)
{
    static struct tr_controller c;
    static struct plant plant;
    struct tr_board board = {NULL, torque_out, encoder_in, adc_in};
    struct tr_settings settings;
    uint64_t pull_after_us = 0, started, silent_at, first_push = 0;
    int far_end = -1, line;
    if (argc == 3 && strcmp(argv[1], "--pull-after-ms") == 0) {
        pull_after_us = strtoull(argv[2], NULL, 10) * 1000u;
    } else if (argc != 1) {
        fprintf(stderr, "usage: controller-pty [--pull-after-ms N]\n");
        return 2;
    }
    line = open_line(&far_end);
    if (line < 0) {
        fprintf(stderr, "no pseudo-terminal: %s\n", strerror(errno));
        return 1;
    }
    memset(&settings, 0, sizeof settings);
    settings.model = "controller skeleton";
    settings.serial = "PTY-1";
    settings.firmware = "1.0.0";
    settings.capabilities = TR_CAN_BRAKE | TR_HAS_EMERGENCY_STOP_INPUT | TR_SIMULATED;
    settings.full_scale_nm = FULL_SCALE_NM;
    settings.step_us = STEP_US;
    settings.min_sample_period_us = 250;
    settings.channel_count = sizeof channels / sizeof channels[0];
    settings.channels = channels;
    settings.torque_limit_raw = 32767;
    settings.rim_speed_limit_mrad_s = 60000;
    settings.sensor_torque_limit_mnm = 19000;
    settings.temperature_limit_cdeg = 11000;
    settings.supply_low_v = 18.0;
    settings.supply_high_v = 30.0;
    started = wall_us();
    settings.seed = (uint32_t)started ^ (uint32_t)getpid() << 16;
    board.context = &plant;
    plant.noise = 0x9E3779B9u;
    tr_controller_boot(&c, &settings, &board, 0);
    for (;;) {
        struct pollfd ends[2] = {{0, POLLIN, 0}, {0, POLLIN, 0}};
        char ignored[8];
        ends[0].fd = line;
        ends[1].fd = STDIN_FILENO;
        poll(ends, 2, 1);
        if (ends[1].revents != 0 && read(STDIN_FILENO, ignored, sizeof ignored) <= 0) {
            break;
        }
        (void)ioctl(far_end, TIOCNXCL); /* a user that was killed leaves its exclusive use behind */
        carry(&c, &plant, line, started);
        catch_up(&c, &plant, line, started);
        carry(&c, &plant, line, started);
        if (plant.counts == 0 && c.state != TR_ARMED) {
            first_push = 0;
        } else if (plant.counts != 0 && first_push == 0) {
            first_push = plant.now;
        }
        if (pull_after_us > 0 && plant.counts != 0 && plant.now - first_push >= pull_after_us) {
            break; /* while it pushes */
        }
    }
    printf("at_the_pull state=%d counts=%d\n", c.state, plant.counts);
    silent_at = plant.now;
    close(line);
    close(far_end);
    while (plant.now < silent_at + AFTERWARDS_US) {
        step(&c, &plant);
    }
    printf("state=%d cause=%d power=%d counts=%d trips=%lu pushed=%lu bad_frames=%lu\n", c.state, c.cause,
           (int)plant.power, plant.counts, (unsigned long)c.trips, (unsigned long)plant.pushed,
           (unsigned long)c.bad_frames);
    printf("off_after_us=%ld watchdog_us=%lu torque_unm=%ld\n",
           plant.off_at > silent_at ? (long)(plant.off_at - silent_at) : 0L, (unsigned long)c.applied.watchdog_us,
           (long)(plant.sensor_nm * 1e6));
    return 0;
}
