/* measure OUT PROGRAM [ARGUMENTS]: runs a program with standard output to the file OUT ("-" stays) and says on
 * standard error what it cost: `cpu_s=1.234567 wall_s=0.9 rss_kib=4321 status=0`.
 *
 * In C, and small: the peak memory that the system reports for a child begins at that of the process that started
 * it, so that a large launcher would hide a small child. */
#define _DEFAULT_SOURCE
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/time.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

static double seconds(struct timeval t)
{
    return (double)t.tv_sec + 1e-6 * (double)t.tv_usec;
}

static void child(const char *out, char **argv)
{
    if (strcmp(out, "-") != 0) {
        int fd = open(out, O_WRONLY | O_CREAT | O_TRUNC, 0666);
        if (fd < 0 || dup2(fd, STDOUT_FILENO) < 0) {
            perror(out);
            _exit(127);
        }
        close(fd);
    }
    execvp(argv[0], argv);
    perror(argv[0]);
    _exit(127);
}

int main(int argc, char **argv)
{
    if (argc < 3) {
        fputs("usage: measure OUT PROGRAM [ARGUMENTS]\n", stderr);
        return 2;
    }
    struct timespec from, to;
    clock_gettime(CLOCK_MONOTONIC, &from);
    pid_t pid = fork();
    if (pid == 0) {
        child(argv[1], argv + 2);
    }
    int status = 0;
    struct rusage use;
    pid_t ended;
    do {
        ended = pid < 0 ? -1 : wait4(pid, &status, 0, &use);
    } while (ended < 0 && errno == EINTR);
    if (ended < 0) {
        perror("measure");
        return 1;
    }
    clock_gettime(CLOCK_MONOTONIC, &to);
    int code = WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
    fprintf(stderr, "cpu_s=%.6f wall_s=%.6f rss_kib=%ld status=%d\n", seconds(use.ru_utime) + seconds(use.ru_stime),
            (double)(to.tv_sec - from.tv_sec) + 1e-9 * (double)(to.tv_nsec - from.tv_nsec), use.ru_maxrss, code);
    return code;
}
