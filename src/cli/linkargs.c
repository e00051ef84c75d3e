/* SPDX-License-Identifier: MIT */
#include "cli/linkargs.h"

#include "base/io.h"
#include "base/text.h"
#include "formats/dumpform.h"
#include "link/ftdi.h"
#include "link/inflow.h"

#include <errno.h>
#include <string.h>
#include <unistd.h>

/* The place of word in words[count], which NULL text means the first of. */
static lu_status one_of(const char *text, const char *option, const char *const *words, size_t count,
                        size_t *which, lu_err *err)
{
  *which = 0;
  for (size_t i = 0; text && i < count; i++)
    if (!strcmp(text, words[i])) {
      *which = i;
      return LU_OK;
    }
  if (!text)
    return LU_OK;
  char list[96] = "";
  for (size_t i = 0; i < count; i++) {
    strncat(list, i ? (i + 1 == count ? " or " : ", ") : "", sizeof list - strlen(list) - 1);
    strncat(list, words[i], sizeof list - strlen(list) - 1);
  }
  return lu_fail(err, LU_ERR_USAGE, 0, 0, "--%s expects %s, found '%.40s'", option, list, text);
}

lu_status lu_link_line(const lu_link_args *a, lu_line *out, lu_err *err)
{
  static const char *const parities[] = {"none", "even", "odd"};
  static const char *const flows[] = {"none", "rts", "xon"};
  size_t parity = 0, flow = 0;
  lu_status s = one_of(a->parity, "parity", parities, 3, &parity, err);
  if (s == LU_OK)
    s = one_of(a->flow, "flow", flows, 3, &flow, err);
  if (s != LU_OK)
    return s;
  *out = (lu_line){.baud = a->baud ? (uint32_t)a->baud : LU_WIRE_FIRST_RATE,
                   .data_bits = a->line_bits ? (unsigned)a->line_bits : 8,
                   .parity = "neo"[parity],
                   .stop_bits = a->stop_bits ? (unsigned)a->stop_bits : 1,
                   .flow = (lu_flow)flow};
  return LU_OK;
}

lu_status lu_link_open_line(const lu_link_args *a, lu_transport *out, lu_err *err)
{
  lu_line line;
  lu_status s = lu_link_line(a, &line, err);
  if (s != LU_OK)
    return s;
  if (a->port && a->ftdi)
    return lu_fail(err, LU_ERR_USAGE, 0, 0, "--port and --ftdi: say one of them");
  if (a->port)
    return lu_serial_open(a->port, &line, out, err);
  if (a->ftdi)
    return lu_ftdi_serial_open(a->ftdi, 0, &line, out, err);
  return lu_fail(err, LU_ERR_USAGE, 0, 0, "say which device: --port PORT or --ftdi SERIAL");
}

/* "3,4,3,2": four numbers below 256. */
static lu_status timing_of(const char *text, uint8_t out[4], lu_err *err)
{
  const char *p = text;
  for (unsigned i = 0; i < 4; i++) {
    const char *end = p + strcspn(p, ",");
    uint64_t v;
    if (!lu_text_u64(p, (size_t)(end - p), 0, 255, &v) || (i < 3) != (*end == ','))
      return lu_fail(err, LU_ERR_USAGE, 0, 0,
                     "--timing expects four numbers below 256 with commas, found '%.40s'", text);
    out[i] = (uint8_t)v;
    p = end + 1;
  }
  return LU_OK;
}

static lu_status memory_of(const lu_link_args *a, lu_reader_memory *m, lu_err *err)
{
  static const char *const kinds[] = {"sram", "rom", "dram"};
  static const uint8_t codes[] = {LU_WIRE_SRAM, LU_WIRE_ROM, LU_WIRE_DRAM};
  size_t kind = 0;
  lu_status s = one_of(a->kind, "kind", kinds, 3, &kind, err);
  if (s != LU_OK)
    return s;
  *m = (lu_reader_memory){.kind = codes[kind],
                          .address_bits = a->address_bits ? (unsigned)a->address_bits : 16,
                          .data_bits = a->data_bits ? (unsigned)a->data_bits : 8,
                          .second_select = a->second_select,
                          .drive_anyway = a->drive_anyway};
  if (m->kind != LU_WIRE_DRAM)
    return LU_OK;
  m->row_bits = a->row_bits ? (unsigned)a->row_bits : (m->address_bits + 1) / 2;
  if (m->row_bits >= m->address_bits || m->address_bits - m->row_bits > 12)
    return lu_fail(err, LU_ERR_USAGE, 0, 0, "%u row bits of %u address bits leave no sound column",
                   m->row_bits, m->address_bits);
  m->column_bits = m->address_bits - m->row_bits;
  m->refresh_bits = a->refresh_bits ? (unsigned)a->refresh_bits : m->row_bits < 8 ? m->row_bits : 8;
  return LU_OK;
}

lu_status lu_link_open_reader(const lu_link_args *a, lu_reader **out, lu_err *err)
{
  lu_transport t;
  lu_status s = lu_link_open_line(a, &t, err);
  if (s == LU_OK)
    s = lu_reader_open(t, NULL, out, err);
  if (s == LU_OK && a->rate) {
    s = lu_reader_rate(*out, (uint32_t)a->rate, err);
    if (s != LU_OK)
      lu_reader_close(*out);
  }
  return s;
}

void lu_link_say_safety(lu_run *run)
{
  fputs("Before lines are driven: processor out or held, its bus let go; 5 V levels only; nothing live from the mains.\n",
        run->err);
}

static lu_status open_reader_memory(lu_run *run, const lu_link_args *a, lu_memio *out, lu_err *err)
{
  lu_reader_memory m;
  lu_reader *r = NULL;
  uint8_t timing[4];
  lu_status s = memory_of(a, &m, err);
  if (s == LU_OK && a->timing)
    s = timing_of(a->timing, timing, err);
  if (s == LU_OK)
    s = lu_link_open_reader(a, &r, err);
  if (s != LU_OK)
    return s;
  lu_link_say_safety(run);
  const lu_reader_identity *w = lu_reader_who(r);
  fprintf(run->err, "%s %u.%u, %u address and %u data lines\n", w->name, w->firmware_high,
          w->firmware_low, w->address_bits, w->data_bits);
  if (a->timing)
    s = lu_reader_timing(r, timing, NULL, err);
  if (s == LU_OK)
    s = lu_reader_setup(r, &m, NULL, err);
  if (s != LU_OK) {
    lu_reader_close(r);
    return s;
  }
  *out = lu_reader_memio(r);
  return LU_OK;
}

/* The range, once the memory's size is known. */
static lu_status fit_range(lu_link_args *a, const lu_memio *m, lu_err *err)
{
  uint64_t size = (uint64_t)1 << m->address_bits;
  if (a->from >= size)
    return lu_fail(err, LU_ERR_VALUE, 0, 0, "--from 0x%llx, but the memory ends at 0x%llx",
                   (unsigned long long)a->from, (unsigned long long)size - 1);
  if (!a->count)
    a->count = size - a->from;
  if (a->count > size - a->from)
    return lu_fail(err, LU_ERR_VALUE, 0, 0, "--count %llu, but only %llu words are behind 0x%llx",
                   (unsigned long long)a->count, (unsigned long long)(size - a->from),
                   (unsigned long long)a->from);
  return LU_OK;
}

lu_status lu_link_open_memory(lu_run *run, lu_link_args *a, lu_memio *out, lu_err *err)
{
  static const char *const ways[] = {"serial", "bus"};
  size_t way = 0;
  lu_status s = one_of(a->via, "via", ways, 2, &way, err);
  if (s != LU_OK)
    return s;
  if (way == 1 && !a->ftdi)
    return lu_fail(err, LU_ERR_USAGE, 0, 0, "--via bus needs --ftdi SERIAL (or --ftdi any)");
  if (way == 1)
    lu_link_say_safety(run);
  if (way == 1 && a->address_bits > 16)
    return lu_fail(err, LU_ERR_USAGE, 0, 0, "--via bus has at most 16 address bits");
  if (way == 1 && a->data_bits && a->data_bits != 8)
    return lu_fail(err, LU_ERR_USAGE, 0, 0, "--via bus has 8 data bits");
  s = way == 1 ? lu_ftdi_bus_open(a->ftdi, a->drive_anyway, out, err) : open_reader_memory(run, a, out, err);
  if (s != LU_OK)
    return s;
  if (way == 1)
    fprintf(run->err, "%s: host bus%s; it cannot check CS#, ALE, RD#, WR#, nor see whether the board has its 5 V\n", out->name,
            a->drive_anyway ? "" : ", nothing holds its address and data lines");
  if (way == 1 && a->address_bits)
    out->address_bits = (unsigned)a->address_bits;
  s = fit_range(a, out, err);
  if (s != LU_OK)
    out->close(out->self);
  return s;
}

lu_status lu_link_dump(lu_arena *mem, uint64_t from, const uint16_t *words, uint32_t count,
                       unsigned data_bits, bool big, lu_dump *out, lu_err *err)
{
  size_t each = data_bits > 8 ? 2 : 1;
  uint8_t *bytes = LU_NEW(mem, uint8_t, (size_t)count * each + 1);
  lu_span *span = LU_NEW(mem, lu_span, 1);
  if (!bytes || !span)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for %u words", count);
  for (uint32_t i = 0; i < count; i++) {
    bytes[i * each] = (uint8_t)(big && each == 2 ? words[i] >> 8 : words[i]);
    if (each == 2)
      bytes[i * each + 1] = (uint8_t)(big ? words[i] : words[i] >> 8);
  }
  *span = (lu_span){.base = from * each, .len = (uint64_t)count * each, .at = bytes};
  *out = (lu_dump){.format = "link", .has_addresses = true, .span_count = count ? 1 : 0, .spans = span};
  return LU_OK;
}

static bool put(void *to, const void *at, size_t len)
{
  return lu_inflow_add(to, at, len, NULL) == LU_OK;
}

const lu_dumpform *lu_link_dumpform(const char *path, const char *form, lu_err *err)
{
  const char *dot = strrchr(path, '.');
  if (!form) {
    for (size_t i = 0; dot && i < lu_dumpform_count; i++)
      if (lu_text_same(dot + 1, lu_dumpforms[i]->ending))
        return lu_dumpforms[i];
    return lu_dumpform_named("raw");
  }
  const lu_dumpform *f = lu_dumpform_named(form);
  const char *names[32];
  size_t n = 0;
  for (; n < lu_dumpform_count && n < 32; n++)
    names[n] = lu_dumpforms[n]->name;
  if (!f) {
    const char *near = lu_text_nearest(form, names, n);
    lu_status s = lu_fail(err, LU_ERR_USAGE, 0, 0, "no dump form '%.40s'; there is %s", form,
                          near ? near : "raw, ihex, srec and hextext");
    (void)s; /* the caller sees NULL and finds the status in err */
  }
  return f;
}

lu_status lu_link_form(const char *path, const char *form, const lu_dump *dump, lu_inflow *out, lu_err *err)
{
  lu_err own = {0};
  const lu_dumpform *f = lu_link_dumpform(path, form, err ? err : &own);
  *out = (lu_inflow){.most = (size_t)1 << 30};
  if (!f)
    return LU_ERR_USAGE;
  return f->write(dump, (lu_sink){put, out}) ? LU_OK : lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for the dump's text");
}

lu_status lu_link_may_write(const char *path, lu_err *err)
{
  const char *slash = path ? strrchr(path, '/') : NULL;
  char folder[4096] = ".";
  size_t len = slash ? (size_t)(slash - path) : 0;
  if (!path || len >= sizeof folder)
    return LU_OK;
  if (slash)
    memcpy(folder, len ? path : "/", len ? len : 1);
  folder[slash ? (len ? len : 1) : 1] = '\0';
  if (access(folder, W_OK | X_OK) == 0)
    return LU_OK;
  return lu_fail_source(err, lu_fail(err, LU_ERR_IO, 0, 0, "cannot write there: %s; nothing was read", strerror(errno)), path);
}

lu_status lu_link_write(const char *path, const char *form, const lu_dump *dump, lu_err *err)
{
  lu_inflow text;
  lu_status s = lu_link_form(path, form, dump, &text, err);
  if (s == LU_OK)
    s = lu_file_write(path, text.at ? (const void *)text.at : "", text.len, err);
  lu_inflow_free(&text);
  return s;
}
