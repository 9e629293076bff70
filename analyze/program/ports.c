/* tidemark ports: the serial ports of this computer. */
#include "analyze/program/say.h"
#include "ingest/serial/port_list.h"

#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>

static const struct opt opts[] = {
    {"json", 0, NULL, "", "", "Print a JSON array of objects with name, description and transport."},
    {NULL, 0, NULL, NULL, NULL, NULL},
};

static int print_json(const struct command *cmd, const struct port_entry *list, size_t n)
{
    json_t *array = json_array();
    int failed = !array;
    for (size_t i = 0; i < n && !failed; i++) {
        /* What is not UTF-8 is no JSON: such a description is left empty. */
        json_t *description = json_string(list[i].description);
        json_t *entry = json_pack("{s:s, s:o, s:s}", "name", list[i].name, "description",
                                  description ? description : json_string(""), "transport", list[i].transport);
        failed = !entry || json_array_append_new(array, entry) != 0;
    }
    failed = failed || json_dumpf(array, stdout, JSON_INDENT(2)) != 0;
    json_decref(array);
    (void)putchar('\n');
    if (!failed)
        return EXIT_DONE;
    say(cmd, "the list could not be written");
    return EXIT_OUTPUT;
}

static int run(const struct args *a)
{
    struct port_entry *list = NULL;
    size_t n = 0;
    struct err e;
    const int rc = port_list(&list, &n, &e);
    if (rc != TM_OK) {
        say_error(a->cmd, &e);
        return status_of(rc);
    }
    int status = EXIT_DONE;
    if (args_given(a, "json"))
        status = print_json(a->cmd, list, n);
    else if (n == 0)
        say(a->cmd, "no serial port is there");
    for (size_t i = 0; i < n && !args_given(a, "json"); i++)
        (void)printf("%-20s  %-9s  %s\n", list[i].name, list[i].transport, list[i].description);
    free(list);
    return status;
}

static const char *const examples[] = {
    "tidemark ports",
    "Lists each port with how it is connected and what it calls itself.",
    NULL,
};

const struct command command_ports = {
    .name = "ports",
    .summary = "list the serial ports of this computer",
    .operands = "",
    .operands_min = 0,
    .operands_max = 0,
    .text = "Prints the name, the transport (native, usb, bluetooth) and the description of each serial port. No port "
            "is opened, so that no connected device notices anything.\n\n"
            "The exit status is 0 also where there is none.",
    .opts = opts,
    .examples = examples,
    .run = run,
};
