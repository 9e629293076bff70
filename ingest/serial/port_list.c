#include "ingest/serial/port_list.h"

#include <libserialport.h>
#include <stdlib.h>
#include <string.h>

/* A device describes itself; a terminal is not the place for its control characters. */
static void copy_text(char *dst, size_t cap, const char *src)
{
    size_t i = 0;
    for (; src && src[i] && i + 1 < cap; i++)
        dst[i] = (unsigned char)src[i] < 32 || src[i] == 127 ? '?' : src[i];
    dst[i] = '\0';
}

static const char *transport_name(enum sp_transport t)
{
    switch (t) {
    case SP_TRANSPORT_NATIVE:
        return "native";
    case SP_TRANSPORT_USB:
        return "usb";
    case SP_TRANSPORT_BLUETOOTH:
        return "bluetooth";
    }
    return "unknown";
}

/* Numbers by value: ttyUSB10 stands after ttyUSB9. */
static int by_name(const void *a, const void *b)
{
    const char *x = ((const struct port_entry *)a)->name, *y = ((const struct port_entry *)b)->name;
    const size_t nx = strcspn(x, "0123456789"), ny = strcspn(y, "0123456789");
    const int head = nx == ny ? strncmp(x, y, nx) : strcmp(x, y);
    if (head != 0)
        return head;
    const long long i = atoll(x + nx), j = atoll(y + ny);
    return i != j ? (i < j ? -1 : 1) : strcmp(x, y);
}

int port_list(struct port_entry **out, size_t *n, struct err *e)
{
    struct sp_port **ports = NULL;
    const enum sp_return r = sp_list_ports(&ports);
    if (r != SP_OK) {
        const int number = r == SP_ERR_FAIL ? sp_last_error_code() : 0;
        (void)err_set(e, TM_ERR_SYSTEM, NULL, 0, NULL, "the serial ports can't be listed");
        if (e)
            e->sys_errno = number;
        return r == SP_ERR_MEM ? TM_ERR_MEMORY : TM_ERR_SYSTEM;
    }
    size_t count = 0;
    while (ports[count])
        count++;
    struct port_entry *list = count ? calloc(count, sizeof *list) : NULL;
    if (count && !list) {
        sp_free_port_list(ports);
        return err_set(e, TM_ERR_MEMORY, NULL, 0, NULL, "out of memory");
    }
    for (size_t i = 0; i < count; i++) {
        copy_text(list[i].name, sizeof list[i].name, sp_get_port_name(ports[i]));
        copy_text(list[i].description, sizeof list[i].description, sp_get_port_description(ports[i]));
        list[i].transport = transport_name(sp_get_port_transport(ports[i]));
    }
    sp_free_port_list(ports);
    if (count)
        qsort(list, count, sizeof *list, by_name);
    *out = list;
    *n = count;
    return TM_OK;
}
