/* A disk that fails at one chosen operation: preloaded between the program and the C library.
 *
 * Counts every call that opens, writes, syncs, cuts, names or removes something below one folder. At the chosen one it
 * answers with an error, takes only half of what was to be written, takes its time, or kills the process before or
 * after. The program
 * is armed through faulty_arm() and faulty_count() once it has started.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <pthread.h>
#include <signal.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/types.h>
#include <unistd.h>

enum { NEVER = 0, SHORT = -1, KILL_BEFORE = -2, KILL_AFTER = -3, SLOW = -4 };
enum { SLOW_US = 1500000 };  /* syncs of 0.8 s were once told as a dead microphone, of 1 to 3 s froze the screen */
enum { FILES = 4096 };

static char root[4096];
static long at = -1, count;
static int kind, log_fd = -1;
static char watched[FILES];
static pthread_mutex_t one = PTHREAD_MUTEX_INITIALIZER;

/* kind: a positive errno, or one of the names above; log: a descriptor for one line an operation, or -1. */
void faulty_arm(const char *folder, long operation, int what, int log) {
    snprintf(root, sizeof root, "%s", folder);
    at = operation, kind = what, log_fd = log, count = 0;
}
long faulty_count(void) { return count; }

static int inside(const char *path) {
    size_t n = strlen(root);
    return n && path && strncmp(path, root, n) == 0 && (path[n] == '/' || !path[n]);
}
static int ours(int fd) { return fd >= 0 && fd < FILES && watched[fd] && root[0]; }

/* What is to happen at this operation: NEVER most of the time. */
static int turn(const char *name, const char *path, int fd) {
    pthread_mutex_lock(&one);
    long n = count++;
    pthread_mutex_unlock(&one);
    if (log_fd >= 0) dprintf(log_fd, "%ld %s %s\n", n, name, path ? strrchr(path, '/') + 1 : (char[12]){0});
    (void)fd;
    if (n != at) return NEVER;
    if (kind == KILL_BEFORE) raise(SIGKILL);
    if (kind == SLOW) usleep(SLOW_US);
    return kind;
}
#define REAL(name) static __typeof__(&name) real; if (!real) real = (__typeof__(&name))dlsym(RTLD_NEXT, #name)
#define ANSWER(call) do { long done = (call); if (what == KILL_AFTER) raise(SIGKILL); return done; } while (0)
#define FAILS (what > 0 ? (errno = what, 1) : 0)

#define OPENING(name)                                                              \
    int name(const char *path, int flags, ...) {                                   \
        REAL(name);                                                                \
        va_list more; va_start(more, flags); mode_t mode = va_arg(more, mode_t); va_end(more); \
        if (!inside(path)) return real(path, flags, mode);                         \
        int what = turn("open", path, -1);                                         \
        if (FAILS) return -1;                                                      \
        int fd = real(path, flags, mode);                                          \
        if (fd >= 0 && fd < FILES) watched[fd] = 1;                                \
        if (what == KILL_AFTER) raise(SIGKILL);                                    \
        return fd;                                                                 \
    }
OPENING(open)
OPENING(open64)

int close(int fd) {
    REAL(close);
    if (fd >= 0 && fd < FILES) watched[fd] = 0;
    return real(fd);
}
ssize_t write(int fd, const void *data, size_t n) {
    REAL(write);
    if (!ours(fd)) return real(fd, data, n);
    int what = turn("write", NULL, fd);
    if (FAILS) return -1;
    if (what == SHORT && n > 1) n /= 2;
    ANSWER(real(fd, data, n));
}
#define ON_FILE(name, shape, args, word)                                           \
    int name shape {                                                               \
        REAL(name);                                                                \
        if (!ours(fd)) return real args;                                           \
        int what = turn(word, NULL, fd);                                           \
        if (FAILS) return -1;                                                      \
        ANSWER(real args);                                                         \
    }
ON_FILE(fsync, (int fd), (fd), "sync")
ON_FILE(fdatasync, (int fd), (fd), "sync")
ON_FILE(ftruncate, (int fd, off_t n), (fd, n), "cut")
ON_FILE(ftruncate64, (int fd, off64_t n), (fd, n), "cut")

#define ON_NAME(name, shape, args, word)                                           \
    int name shape {                                                               \
        REAL(name);                                                                \
        if (!inside(path)) return real args;                                       \
        int what = turn(word, path, -1);                                           \
        if (FAILS) return -1;                                                      \
        ANSWER(real args);                                                         \
    }
ON_NAME(unlink, (const char *path), (path), "unlink")
ON_NAME(mkdir, (const char *path, mode_t mode), (path, mode), "mkdir")
ON_NAME(rename, (const char *path, const char *to), (path, to), "rename")
ON_NAME(link, (const char *path, const char *to), (path, to), "link")
