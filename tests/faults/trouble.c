/* Preloaded into the program (LD_PRELOAD): a disk and a clock that a test spoils while it runs.
 *
 * $TROUBLE_KNOBS is a file of three 64-bit numbers, read anew at each call: nanoseconds the wall clock is off by;
 * microseconds every write to and sync of a file under $TROUBLE_UNDER is delayed by; the error number (0: none) with
 * which changes to such files are refused. ENOSPC refuses what needs room, EROFS also opening for writing, EIO also
 * syncing. Writes through a memory map are not met; SQLite maps only its -shm file.
 */
#define _GNU_SOURCE
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <sys/time.h>
#include <sys/types.h>
#include <time.h>
#include <unistd.h>

static const char *root;
static size_t root_length;
static const volatile int64_t *knobs;

__attribute__((constructor)) static void begin(void) {
    root = getenv("TROUBLE_UNDER");
    const char *from = getenv("TROUBLE_KNOBS");
    if (!root || !from) return;
    root_length = strlen(root);
    int fd = (int)syscall(SYS_openat, AT_FDCWD, from, O_RDONLY | O_CLOEXEC, 0);
    if (fd < 0) abort(); /* without its knobs the test would prove nothing */
    void *at = mmap(NULL, 4096, PROT_READ, MAP_SHARED, fd, 0);
    if (at == MAP_FAILED) abort();
    knobs = at;
    syscall(SYS_close, fd);
}

static int below(const char *path) {
    return !strncmp(path, root, root_length) && (path[root_length] == 0 || path[root_length] == '/');
}

static int is_ours(int fd) {
    if (!knobs || (!knobs[1] && !knobs[2])) return 0;
    int kept = errno;
    char link[64], room[PATH_MAX];
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    ssize_t length = readlink(link, room, sizeof room - 1);
    errno = kept;
    if (length < 0) return 0;
    room[length] = 0;
    return below(room);
}

/* Waits as told; the error to answer with, or 0. */
static int met(void) {
    struct timespec wait = {knobs[1] / 1000000, knobs[1] % 1000000 * 1000};
    if (knobs[1]) syscall(SYS_nanosleep, &wait, NULL);
    return (int)knobs[2];
}

static int open_any(int dir, const char *path, int flags, mode_t mode) {
    int writes = (flags & O_ACCMODE) != O_RDONLY || (flags & (O_CREAT | O_TRUNC));
    if (knobs && knobs[2] == EROFS && writes && below(path)) { errno = EROFS; return -1; }
    return (int)syscall(SYS_openat, dir, path, flags, mode);
}

#define MODE mode_t mode = 0; if (flags & O_CREAT) { va_list more; va_start(more, flags); mode = va_arg(more, mode_t); va_end(more); }
int open(const char *path, int flags, ...) { MODE return open_any(AT_FDCWD, path, flags, mode); }
int open64(const char *path, int flags, ...) { MODE return open_any(AT_FDCWD, path, flags, mode); }
int openat(int dir, const char *path, int flags, ...) { MODE return open_any(dir, path, flags, mode); }
int openat64(int dir, const char *path, int flags, ...) { MODE return open_any(dir, path, flags, mode); }

static ssize_t written(int fd, const void *data, size_t length, off64_t at) {
    int error = is_ours(fd) ? met() : 0;
    if (error) { errno = error; return -1; }
    return at < 0 ? syscall(SYS_write, fd, data, length) : syscall(SYS_pwrite64, fd, data, length, at);
}
ssize_t write(int fd, const void *data, size_t length) { return written(fd, data, length, -1); }
ssize_t pwrite(int fd, const void *data, size_t length, off_t at) { return written(fd, data, length, at); }
ssize_t pwrite64(int fd, const void *data, size_t length, off64_t at) { return written(fd, data, length, at); }

static int sized(int fd, off64_t size) {
    int error = is_ours(fd) ? met() : 0;
    if (error) { errno = error; return -1; }
    return (int)syscall(SYS_ftruncate, fd, size);
}
int ftruncate(int fd, off_t size) { return sized(fd, size); }
int ftruncate64(int fd, off64_t size) { return sized(fd, size); }

static int synced(int fd, long call) {
    int error = is_ours(fd) ? met() : 0;
    if (error == EIO) { errno = error; return -1; }
    return (int)syscall(call, fd);
}
int fsync(int fd) { return synced(fd, SYS_fsync); }
int fdatasync(int fd) { return synced(fd, SYS_fdatasync); }

static int named(const char *path) {
    if (!knobs || !knobs[2] || knobs[2] == ENOSPC || !below(path)) return 0;
    errno = (int)knobs[2];
    return -1;
}
int unlink(const char *path) { return named(path) ? -1 : (int)syscall(SYS_unlinkat, AT_FDCWD, path, 0); }
int rename(const char *from, const char *to) {
    return named(from) ? -1 : (int)syscall(SYS_renameat2, AT_FDCWD, from, AT_FDCWD, to, 0);
}
int mkdir(const char *path, mode_t mode) {
    return named(path) ? -1 : (int)syscall(SYS_mkdirat, AT_FDCWD, path, mode);
}

static void stepped(struct timespec *at) {
    int64_t ns = at->tv_nsec + (knobs ? knobs[0] % 1000000000 : 0);
    at->tv_sec += (knobs ? knobs[0] / 1000000000 : 0) + (ns < 0 ? -1 : ns >= 1000000000 ? 1 : 0);
    at->tv_nsec = (ns + 1000000000) % 1000000000;
}
int clock_gettime(clockid_t which, struct timespec *at) {
    int code = (int)syscall(SYS_clock_gettime, which, at);
    if (!code && which == CLOCK_REALTIME) stepped(at);
    return code;
}
int gettimeofday(struct timeval *at, void *zone) {
    struct timespec now;
    (void)zone;
    clock_gettime(CLOCK_REALTIME, &now);
    at->tv_sec = now.tv_sec;
    at->tv_usec = now.tv_nsec / 1000;
    return 0;
}
time_t time(time_t *at) {
    struct timespec now;
    clock_gettime(CLOCK_REALTIME, &now);
    if (at) *at = now.tv_sec;
    return now.tv_sec;
}
