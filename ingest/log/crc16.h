/* CRC-16 with polynomial 1021, start FFFF, not reflected, nothing xored out: the check value of "123456789" is
 * 29B1 (public CRC catalogue, CRC-16/IBM-3740). Protects a line on the wire. */
#ifndef TIDEMARK_INGEST_LOG_CRC16_H
#define TIDEMARK_INGEST_LOG_CRC16_H

#include <stddef.h>
#include <stdint.h>

uint16_t crc16(const void *data, size_t n);

#endif
