/* SPDX-License-Identifier: MIT */
/* A fail map as PNG (ISO/IEC 15948): indexed colours, one palette entry a shade. */
#include "report/failmap.h"

#ifdef LU_HAVE_PNG
#include <dlfcn.h>
#include <png.h>
#include <stdio.h>
#include <string.h>
#endif

void lu_fail_map_scale(const lu_fail_map *m, unsigned *across, unsigned *down)
{
  *across = m->columns && m->columns < LU_MAP_SIDE ? (unsigned)(LU_MAP_SIDE / m->columns) : 1;
  *down = m->rows && m->rows < LU_MAP_SIDE ? (unsigned)(LU_MAP_SIDE / m->rows) : 1;
}

#if defined LU_HAVE_PNG && defined PNG_SIMPLIFIED_WRITE_SUPPORTED

/* libpng's "simplified API" (its manual, section V): one call, errors by return value. */
typedef struct library {
  void *handle;
  __typeof__(png_image_write_to_memory) *write;
} library;

static lu_status load(library *lib, lu_err *err)
{
  char name[48];
  snprintf(name, sizeof name, "libpng%d%d.so.%d%d", PNG_LIBPNG_VER_MAJOR, PNG_LIBPNG_VER_MINOR, PNG_LIBPNG_VER_MAJOR, PNG_LIBPNG_VER_MINOR);
  lib->handle = dlopen(name, RTLD_NOW | RTLD_LOCAL);
  void *at = lib->handle ? dlsym(lib->handle, "png_image_write_to_memory") : NULL;
  if (at) {
    memcpy(&lib->write, &at, sizeof at);
    return LU_OK;
  }
  if (lib->handle)
    dlclose(lib->handle);
  return lu_fail(err, LU_ERR_DEVICE, 0, 0, "pictures need %s, which is not here; install libpng", name);
}

static void paint(const lu_fail_map *m, unsigned across, unsigned down, unsigned char *pixels)
{
  size_t stride = m->columns * across;
  for (size_t row = 0; row < m->rows; row++) {
    unsigned char *first = pixels + row * down * stride;
    for (size_t c = 0; c < m->columns; c++) {
      size_t column = m->high_first ? m->columns - 1 - c : c;
      memset(first + c * across, (int)lu_fail_map_shade(m, row * m->columns + column), across);
    }
    for (unsigned k = 1; k < down; k++)
      memcpy(first + k * stride, first, stride);
  }
}

static lu_status encode(const library *lib, png_image *image, const unsigned char *pixels, lu_arena *mem, const unsigned char **at, size_t *len,
                        lu_err *err)
{
  unsigned char palette[3 * LU_SHADE_COUNT];
  for (int i = 0; i < LU_SHADE_COUNT; i++) {
    uint32_t c = lu_map_shade_color((lu_map_shade)i);
    for (int k = 0; k < 3; k++)
      palette[3 * i + k] = (unsigned char)(c >> (16 - 8 * k));
  }
  png_alloc_size_t room = PNG_IMAGE_PNG_SIZE_MAX(*image);
  unsigned char *to = lu_arena_take(mem, room);
  if (!to || !lib->write(image, to, &room, 0, pixels, 0, palette))
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for the picture");
  *at = to;
  *len = room;
  return LU_OK;
}

lu_status lu_fail_map_png(const lu_fail_map *m, lu_arena *mem, const unsigned char **at, size_t *len, lu_err *err)
{
  unsigned across, down;
  library lib = {0};
  if (!m->rows || !m->columns)
    return lu_fail(err, LU_ERR_VALUE, 0, 0, "the map is empty");
  lu_fail_map_scale(m, &across, &down);
  png_image image = {.version = PNG_IMAGE_VERSION, .width = (png_uint_32)(m->columns * across), .height = (png_uint_32)(m->rows * down),
                     .format = PNG_FORMAT_RGB_COLORMAP, .colormap_entries = LU_SHADE_COUNT};
  unsigned char *pixels = LU_NEW(mem, unsigned char, (size_t)image.width * image.height);
  if (!pixels)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for the picture");
  lu_status bad = load(&lib, err);
  if (bad)
    return bad;
  paint(m, across, down, pixels);
  bad = encode(&lib, &image, pixels, mem, at, len, err);
  dlclose(lib.handle);
  return bad;
}

#else

lu_status lu_fail_map_png(const lu_fail_map *m, lu_arena *mem, const unsigned char **at, size_t *len, lu_err *err)
{
  (void)m, (void)mem, (void)at, (void)len;
  return lu_fail(err, LU_ERR_DEVICE, 0, 0, "this lineup was built without libpng: no pictures");
}

#endif
