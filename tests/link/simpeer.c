/* SPDX-License-Identifier: MIT */
#include "simpeer.h"

#include "../../src/firmware/core.h"

#include <string.h>

enum { QUEUE = 1 << 18 };
typedef struct line {
  struct {
    uint8_t byte;
    uint64_t ready; /* us */
  } at[QUEUE];
  uint32_t head, tail;
  uint64_t free; /* us: the line is busy until then */
} line;

sim_peer sim;
static line down, up; /* host to device, device to host */
static uint64_t device_us;
static core_memory memory;

uint32_t sim_random(uint32_t *seed, uint32_t most)
{
  /* Marsaglia's xorshift32: any generator would do, it only has to repeat. */
  uint32_t x = *seed ? *seed : 1;
  x ^= x << 13;
  x ^= x >> 17;
  x ^= x << 5;
  *seed = x;
  return (uint32_t)((uint64_t)x * most >> 32);
}

static bool strikes(unsigned per_million, unsigned kind)
{
  bool hit = per_million && sim_random(&sim.seed, 1000000) < per_million;
  sim.injected[kind] += hit;
  return hit;
}

static void enqueue(line *l, uint64_t from, uint8_t byte)
{
  if (l->free < from)
    l->free = from;
  l->free += 10000000 / sim.device_baud;
  if ((l->head + 1) % QUEUE == l->tail)
    return; /* full: lost, as on any line */
  l->at[l->head].byte = byte;
  l->at[l->head].ready = l->free;
  l->head = (l->head + 1) % QUEUE;
}

/* One byte through the faulty line. */
static void transmit(line *l, uint64_t from, uint8_t byte)
{
  sim.bytes++;
  if (sim.faults.unplug_after && sim.bytes > sim.faults.unplug_after)
    sim.unplugged = true;
  if (sim.unplugged || strikes(sim.faults.lose, 0))
    return;
  if (sim.host_baud != sim.device_baud)
    byte = (uint8_t)sim_random(&sim.seed, 256);
  if (strikes(sim.faults.flip, 2))
    byte ^= (uint8_t)(1u << sim_random(&sim.seed, 8));
  if (strikes(sim.faults.late, 3))
    l->free = (l->free < from ? from : l->free) + 1000 * (uint64_t)sim_random(&sim.seed, sim.faults.late_ms);
  enqueue(l, from, byte);
  if (strikes(sim.faults.twice, 1))
    enqueue(l, from, byte);
}

/* What has come down by the device's time goes into its ring. */
static void feed(void)
{
  while (down.tail != down.head && down.at[down.tail].ready <= device_us) {
    core_rx_push(down.at[down.tail].byte);
    down.tail = (down.tail + 1) % QUEUE;
  }
}

/* Lets the device live until the host's time us. */
static void live(uint64_t us)
{
  for (;;) {
    while (core_step())
      hw_idle();
    hw_idle();
    if (down.tail == down.head || down.at[down.tail].ready > us)
      break;
    if (device_us < down.at[down.tail].ready)
      device_us = down.at[down.tail].ready;
    feed();
  }
  if (device_us < us)
    device_us = us;
  while (core_step())
    hw_idle();
  hw_idle();
}

/* ---- the transport ---- */
static lu_status gone(lu_err *err)
{
  return lu_fail(err, LU_ERR_DEVICE, 0, 0, "sim: unplugged");
}

static lu_status sim_read(void *self, uint8_t *to, size_t room, unsigned timeout_ms, size_t *got,
                          lu_err *err)
{
  (void)self;
  uint64_t end = sim.now_us + (uint64_t)timeout_ms * 1000;
  *got = 0;
  for (;;) {
    live(sim.now_us);
    while (*got < room && up.tail != up.head && up.at[up.tail].ready <= sim.now_us) {
      to[(*got)++] = up.at[up.tail].byte;
      up.tail = (up.tail + 1) % QUEUE;
    }
    if (*got)
      return LU_OK;
    if (sim.unplugged)
      return gone(err);
    if (sim.now_us >= end)
      return LU_OK;
    uint64_t next = end;
    if (up.tail != up.head && up.at[up.tail].ready < next)
      next = up.at[up.tail].ready;
    if (down.tail != down.head && down.at[down.tail].ready < next)
      next = down.at[down.tail].ready;
    sim.now_us = next > sim.now_us ? next : sim.now_us + 1;
  }
}

static lu_status sim_write(void *self, const uint8_t *at, size_t len, unsigned timeout_ms, lu_err *err)
{
  (void)self;
  (void)timeout_ms;
  for (size_t i = 0; i < len; i++)
    transmit(&down, sim.now_us, at[i]);
  return sim.unplugged ? gone(err) : LU_OK;
}

static lu_status sim_rate(void *self, uint32_t baud, lu_err *err)
{
  (void)self;
  (void)err;
  sim.host_baud = baud;
  return LU_OK;
}

static uint64_t sim_now(void *self)
{
  (void)self;
  return sim.now_us;
}

static void sim_pause(void *self, unsigned ms)
{
  (void)self;
  sim.now_us += (uint64_t)ms * 1000;
  live(sim.now_us);
}

static void sim_close(void *self)
{
  (void)self;
}

lu_transport sim_transport(void)
{
  return (lu_transport){&sim, "sim", sim_read, sim_write, sim_rate, sim_now, sim_pause, sim_close};
}

void sim_start(void)
{
  memset(&sim, 0, sizeof sim);
  sim.host_baud = sim.device_baud = 115200;
  sim.seed = 1;
  sim.now_us = 1000000;
  down.head = down.tail = up.head = up.tail = 0;
  down.free = up.free = 0;
  device_us = 0;
  sim_restart_device();
}

void sim_restart_device(void)
{
  hw_release();
  core_reset();
}

void sim_plant(uint8_t byte)
{
  transmit(&up, 0, byte);
}

/* ---- the hardware ---- */
void hw_send(void)
{
}

void hw_hold(void)
{
}

void hw_idle(void)
{
  uint8_t byte;
  while (core_tx_pop(&byte))
    transmit(&up, device_us, byte);
  /* The device waits for its ring to empty, so its time goes on with the line's. */
  if (up.free > device_us + 50000)
    device_us = up.free - 50000;
  feed();
}

bool hw_sent(void)
{
  hw_idle();
  return true;
}

uint16_t hw_now(void)
{
  device_us += 100;
  return (uint16_t)(device_us / 1000);
}

uint16_t hw_ring_at(const volatile uint16_t *at)
{
  return *at;
}

void hw_ring_set(volatile uint16_t *at, uint16_t value)
{
  *at = value;
}

bool hw_supply(void)
{
  return !sim.no_supply;
}

void hw_release(void)
{
  sim.driving = false;
  memory = (core_memory){0};
}

void hw_drive(const core_memory *m)
{
  sim.driving = true;
  memory = *m;
}

uint16_t hw_read(uint32_t address)
{
  sim.cycles_read++;
  return sim.memory[(address & ~sim.address_low) % SIM_WORDS] | sim.data_high;
}

void hw_write(uint32_t address, uint16_t data)
{
  sim.cycles_written++;
  sim.memory[(address & ~sim.address_low) % SIM_WORDS] = data;
}

void hw_levels(uint8_t sets[4][6], const core_memory *m)
{
  (void)m;
  for (unsigned i = 0; i < 6; i++) {
    uint8_t low = (uint8_t)(sim.held_low >> (8 * i)), high = (uint8_t)(sim.held_high >> (8 * i));
    sets[0][i] = (uint8_t)~low;
    sets[1][i] = high;
    sets[2][i] = high;
    sets[3][i] = (uint8_t)~low;
  }
}

uint16_t hw_strobe(uint32_t address, bool drive, uint16_t data, uint8_t low, uint16_t cycles)
{
  (void)low;
  device_us += cycles / 16u;
  return drive ? data : sim.memory[address % SIM_WORDS];
}

void hw_timing(uint8_t values[4])
{
  for (unsigned i = 0; i < 4; i++)
    if (values[i] > 100)
      values[i] = 100;
}

bool hw_pin(uint8_t pin)
{
  /* a line that toggles every 2 ms */
  return pin == 3 ? device_us / 2000 % 2 : false;
}

uint32_t hw_rate_near(uint32_t baud)
{
  return baud == 115200 || baud == 1000000 || baud == 500000 ? baud : 0;
}

void hw_rate_set(uint32_t baud)
{
  sim.device_baud = baud;
}

uint32_t hw_clock_khz(void)
{
  return 16000;
}
