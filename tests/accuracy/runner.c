#include "tests/accuracy/runner.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include "tests/accuracy/efforts_of.h"

struct names {
    char prefix[600], log[640], efforts[640], truth[640], tables[640], said[640];
};

static void name_files(struct names *n, const struct run *run, const struct patient *p)
{
    snprintf(n->prefix, sizeof n->prefix, "%s/%s%zu", run->scratch, series_name(p->series), p->number);
    snprintf(n->log, sizeof n->log, "%s.log.gz", n->prefix);
    snprintf(n->efforts, sizeof n->efforts, "%s.efforts.csv", n->prefix);
    snprintf(n->truth, sizeof n->truth, "%s.truth", n->prefix);
    snprintf(n->tables, sizeof n->tables, "%s.tables", n->prefix);
    snprintf(n->said, sizeof n->said, "%s.said", n->prefix);
}

/* Says into the file; never returns if it can't. */
static void speak_into(const char *path)
{
    int fd = open(path, O_WRONLY | O_CREAT | O_TRUNC, 0666);
    if (fd < 0 || dup2(fd, STDERR_FILENO) < 0 || dup2(fd, STDOUT_FILENO) < 0) {
        perror(path);
        _exit(126);
    }
}

static int find_efforts(const struct names *n)
{
    FILE *f = fopen(n->efforts, "wb");
    int rc = f ? efforts_write(n->log, f) : -1;
    return f && fclose(f) ? -1 : rc;
}

/* The child: a child of its own simulates, then it becomes the program. */
static void child(const struct run *run, const struct patient *p, const struct names *n)
{
    struct generator g;
    int status;
    speak_into(n->said);
    patient_generator(p, n->prefix, &g);
    pid_t pid = fork();
    if (pid == 0) {
        execv(p->series == SERIES_JUDGE || p->series == SERIES_QUIET ? run->judge : run->sim, (char *const *)g.argv);
        perror(g.argv[0]);
        _exit(127);
    }
    if (pid < 0 || waitpid(pid, &status, 0) < 0 || !WIFEXITED(status) || WEXITSTATUS(status) != 0) {
        _exit(125);
    }
    if (find_efforts(n)) {
        fprintf(stderr, "%s: efforts could not be had\n", n->log);
        _exit(124);
    }
    execl(run->tidemark, run->tidemark, "breaths", n->log, "-o", n->tables, "--force", (char *)NULL);
    perror(run->tidemark);
    _exit(127);
}

static int wait_one(void)
{
    int status;
    pid_t pid;
    do {
        pid = wait(&status);
    } while (pid < 0 && errno == EINTR);
    /* 1: something in the input was wrong and was told: a lost sample may be. */
    if (pid < 0 || !WIFEXITED(status) || WEXITSTATUS(status) > 1) {
        fprintf(stderr, "a patient failed (status %#x); what was said stands in the scratch folder\n", (unsigned)status);
        return -1;
    }
    return 0;
}

static void clean(const struct names *n)
{
    static const char *const truth[] = {"breaths.csv", "efforts.csv", "events.csv", "mechanics.csv", "patient.json",
                                        "script.txt"};
    static const char *const tables[] = {"breaths.csv", "flags.csv",   "events.csv",   "hours.csv",
                                         "trials.csv",  "limits.csv", "summary.json", "dictionary.json"};
    char path[700];
    for (size_t i = 0; i < sizeof truth / sizeof *truth; i++) {
        snprintf(path, sizeof path, "%s/%s", n->truth, truth[i]);
        (void)remove(path);
    }
    for (size_t i = 0; i < sizeof tables / sizeof *tables; i++) {
        snprintf(path, sizeof path, "%s/%s", n->tables, tables[i]);
        (void)remove(path);
    }
    (void)remove(n->truth);
    (void)remove(n->tables);
    (void)remove(n->log);
    (void)remove(n->efforts);
    (void)remove(n->said);
}

static int collect(const struct run *run, struct patient *p, struct records *r)
{
    struct names n;
    struct breaths truth = {0}, found = {0};
    name_files(&n, run, p);
    int rc = patient_read(p, n.truth);
    rc = rc ? rc : truth_read(&truth, n.truth);
    rc = rc ? rc : found_read(&found, n.tables);
    p->heart = truth.heart;
    rc = rc ? rc : score_patient(r, p, &truth, &found);
    rc = rc ? rc : efforts_score(&r->efforts, p, &truth, n.truth, n.efforts);
    breaths_free(&truth);
    breaths_free(&found);
    if (rc == 0 && !run->keep) {
        clean(&n);
    }
    return rc;
}

int run_patients(const struct run *run, struct patient *patients, size_t n, struct records *r)
{
    int running = 0, rc = 0;
    if (mkdir(run->scratch, 0777) && errno != EEXIST) {
        perror(run->scratch);
        return -1;
    }
    for (size_t i = 0; i < n && rc == 0; i++) {
        struct names names;
        name_files(&names, run, &patients[i]);
        if (running == run->jobs) {
            rc = wait_one();
            running--;
        }
        fflush(NULL);
        pid_t pid = rc == 0 ? fork() : -1;
        if (pid == 0) {
            child(run, &patients[i], &names);
        }
        running += pid > 0;
        rc = pid < 0 ? -1 : rc;
    }
    for (; running > 0; running--) {
        rc = wait_one() ? -1 : rc;
    }
    for (size_t i = 0; i < n && rc == 0; i++) {
        rc = collect(run, &patients[i], r);
    }
    return rc;
}
