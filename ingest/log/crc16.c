#include "ingest/log/crc16.h"

/* A nibble at a time: 32 bytes of table, and a line is short. */
uint16_t crc16(const void *data, size_t n)
{
    static const uint16_t table[16] = {0x0000, 0x1021, 0x2042, 0x3063, 0x4084, 0x50a5, 0x60c6, 0x70e7,
                                       0x8108, 0x9129, 0xa14a, 0xb16b, 0xc18c, 0xd1ad, 0xe1ce, 0xf1ef};
    const unsigned char *p = data;
    uint16_t crc = 0xffff;
    for (size_t i = 0; i < n; i++) {
        crc = (uint16_t)(crc << 4 ^ table[(crc >> 12 ^ p[i] >> 4) & 15]);
        crc = (uint16_t)(crc << 4 ^ table[(crc >> 12 ^ p[i]) & 15]);
    }
    return crc;
}
