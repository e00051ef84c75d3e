/* SPDX-License-Identifier: MIT */
#ifndef LU_REASON_FAULT_H
#define LU_REASON_FAULT_H
/* A hypothesised electrical defect, in terms of a network (network.h): nets, pins and parts are
 * the network's own indexes. */
#include <stdbool.h>
#include <stdint.h>

typedef enum lu_fault_kind {
  LU_FAULT_OPEN,   /* net, cut (pins cut off), level: what a group without driver reads */
  LU_FAULT_STUCK,  /* net, level low or high */
  LU_FAULT_BRIDGE, /* net, net2, acts */
  LU_FAULT_SWAP,   /* net, net2, part */
  LU_FAULT_DEAD,   /* part, lost */
  LU_FAULT_CELL,   /* part (a chip), row, column, data bit */
  LU_FAULT_ROW,
  LU_FAULT_COLUMN
} lu_fault_kind;

/* What a point without driver reads. */
typedef enum lu_level {
  LU_LEVEL_LOW,
  LU_LEVEL_HIGH,
  LU_LEVEL_KEEP,   /* the last level that was driven */
  LU_LEVEL_ADDRESS /* the low address byte of a shared bus */
} lu_level;

typedef enum lu_acts { LU_ACTS_AND, LU_ACTS_OR, LU_ACTS_FIRST, LU_ACTS_SECOND } lu_acts;
typedef enum lu_lost { LU_LOST_OUTPUTS, LU_LOST_WRITES, LU_LOST_ALL } lu_lost;

typedef struct lu_fault {
  uint8_t kind, level, acts, lost;
  uint16_t net, net2; /* network nets */
  uint16_t part;      /* network parts */
  uint16_t data_bit;
  uint32_t row, column;
  uint32_t unsteady;  /* OPEN: 1 = only now and then; fills the struct, so that equal faults are equal bytes */
  uint64_t cut;       /* bit i = the i-th pin of the net is cut off */
} lu_fault;

enum { LU_FAULTS_MOST = 4 };

/* Faults of this lu_fault_kind are between two nets; others are on one net or in a part. */
static inline bool lu_fault_two_nets(unsigned kind)
{
  return kind == LU_FAULT_BRIDGE || kind == LU_FAULT_SWAP;
}

#endif
