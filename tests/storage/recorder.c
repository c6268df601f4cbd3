/* Preloaded into a program (LD_PRELOAD): writes down, in order, every call by which it changes a file under
 * $RECORD_ROOT, with what was written, to the file $RECORD_TO. The calls themselves go through unchanged.
 *
 * One record: operation (1 byte), length of path (2), offset (8), length of data (8), all little-endian on the machines
 * this runs on; then the path below the root, then the data. Operations:
 *   C  path was made      W  data written at offset     T  cut or grown to offset     S  file synced
 *   D  directory synced   U  path removed               R  renamed; data is the new path
 * Not recorded: writes through a memory map. SQLite maps only its -shm file, which no power cut need keep.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <pthread.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <sys/types.h>
#include <unistd.h>

static pthread_mutex_t one_at_a_time = PTHREAD_MUTEX_INITIALIZER;
static const char *root;
static size_t root_length;
static int record_fd = -1;

__attribute__((constructor)) static void begin(void) {
    root = getenv("RECORD_ROOT");
    const char *to = getenv("RECORD_TO");
    if (!root || !to) return;
    root_length = strlen(root);
    record_fd = (int)syscall(SYS_openat, AT_FDCWD, to, O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0600);
}

static void all_of(const void *data, size_t length) {
    const char *at = data;
    while (length) {
        ssize_t done = syscall(SYS_write, record_fd, at, length);
        if (done < 0) { if (errno == EINTR) continue; abort(); } /* a record with a hole would prove nothing */
        at += done;
        length -= (size_t)done;
    }
}

static void record(char what, const char *path, uint64_t offset, const void *data, uint64_t length) {
    int kept = errno;
    unsigned char head[19];
    uint16_t path_length = (uint16_t)strlen(path);
    head[0] = (unsigned char)what;
    memcpy(head + 1, &path_length, 2);
    memcpy(head + 3, &offset, 8);
    memcpy(head + 11, &length, 8);
    all_of(head, sizeof head);
    all_of(path, path_length);
    all_of(data, length);
    errno = kept;
}

/* The part of an absolute path below the root, "" for the root itself, NULL for any other. */
static const char *below(const char *path) {
    if (record_fd < 0 || strncmp(path, root, root_length)) return NULL;
    if (path[root_length] == 0) return path + root_length;
    return path[root_length] == '/' ? path + root_length + 1 : NULL;
}

static const char *name_of(int fd, char *room) {
    int kept = errno;
    char link[64];
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    ssize_t length = readlink(link, room, PATH_MAX - 1);
    errno = kept;
    if (length < 0) return NULL;
    room[length] = 0;
    if (strstr(room, " (deleted)")) return NULL;
    return below(room);
}

static const char *name_at(int dir, const char *path, char *room) {
    if (path[0] == '/') return below(path);
    if (dir == AT_FDCWD) {
        if (!getcwd(room, PATH_MAX / 2)) return NULL;
    } else {
        char link[64];
        snprintf(link, sizeof link, "/proc/self/fd/%d", dir);
        ssize_t length = readlink(link, room, PATH_MAX / 2);
        if (length < 0) return NULL;
        room[length] = 0;
    }
    strncat(room, "/", PATH_MAX - strlen(room) - 1);
    strncat(room, path, PATH_MAX - strlen(room) - 1);
    return below(room);
}

#define REAL(name) ((__typeof__(&name))dlsym(RTLD_NEXT, #name))
#define LOCKED pthread_mutex_lock(&one_at_a_time)
#define UNLOCKED pthread_mutex_unlock(&one_at_a_time)

static int open_any(int dir, const char *path, int flags, mode_t mode) {
    char room[PATH_MAX];
    const char *name = record_fd < 0 ? NULL : name_at(dir, path, room);
    if (!name || !(flags & (O_CREAT | O_TRUNC))) return (int)syscall(SYS_openat, dir, path, flags, mode);
    LOCKED;
    struct stat there;
    int was = syscall(SYS_newfstatat, dir, path, &there, 0) == 0;
    int fd = (int)syscall(SYS_openat, dir, path, flags, mode);
    if (fd >= 0 && !was) record('C', name, 0, "", 0);
    if (fd >= 0 && was && (flags & O_TRUNC)) record('T', name, 0, "", 0);
    UNLOCKED;
    return fd;
}

#define MODE mode_t mode = 0; if (flags & O_CREAT) { va_list more; va_start(more, flags); mode = va_arg(more, mode_t); va_end(more); }
int open(const char *path, int flags, ...) { MODE return open_any(AT_FDCWD, path, flags, mode); }
int open64(const char *path, int flags, ...) { MODE return open_any(AT_FDCWD, path, flags | O_LARGEFILE, mode); }
int openat(int dir, const char *path, int flags, ...) { MODE return open_any(dir, path, flags, mode); }
int openat64(int dir, const char *path, int flags, ...) { MODE return open_any(dir, path, flags | O_LARGEFILE, mode); }

static ssize_t written(int fd, const void *data, size_t length, off64_t at) {
    char room[PATH_MAX];
    const char *name = record_fd < 0 ? NULL : name_of(fd, room);
    if (!name) return at < 0 ? syscall(SYS_write, fd, data, length) : syscall(SYS_pwrite64, fd, data, length, at);
    LOCKED;
    ssize_t done = at < 0 ? syscall(SYS_write, fd, data, length) : syscall(SYS_pwrite64, fd, data, length, at);
    if (done > 0) {
        if (at < 0) at = lseek64(fd, 0, SEEK_CUR) - done;
        record('W', name, (uint64_t)at, data, (uint64_t)done);
    }
    UNLOCKED;
    return done;
}

ssize_t write(int fd, const void *data, size_t length) { return written(fd, data, length, -1); }
ssize_t pwrite(int fd, const void *data, size_t length, off_t at) { return written(fd, data, length, at); }
ssize_t pwrite64(int fd, const void *data, size_t length, off64_t at) { return written(fd, data, length, at); }

static int sized(int fd, off64_t size) {
    char room[PATH_MAX];
    const char *name = record_fd < 0 ? NULL : name_of(fd, room);
    LOCKED;
    int code = (int)syscall(SYS_ftruncate, fd, size);
    if (!code && name) record('T', name, (uint64_t)size, "", 0);
    UNLOCKED;
    return code;
}
int ftruncate(int fd, off_t size) { return sized(fd, size); }
int ftruncate64(int fd, off64_t size) { return sized(fd, size); }

static int synced(int fd, long call) {
    char room[PATH_MAX];
    const char *name = record_fd < 0 ? NULL : name_of(fd, room);
    struct stat about;
    LOCKED;
    int code = (int)syscall(call, fd);
    if (!code && name && !fstat(fd, &about)) record(S_ISDIR(about.st_mode) ? 'D' : 'S', name, 0, "", 0);
    UNLOCKED;
    return code;
}
int fsync(int fd) { return synced(fd, SYS_fsync); }
int fdatasync(int fd) { return synced(fd, SYS_fdatasync); }

int unlink(const char *path) {
    char room[PATH_MAX];
    const char *name = record_fd < 0 ? NULL : name_at(AT_FDCWD, path, room);
    LOCKED;
    int code = (int)syscall(SYS_unlinkat, AT_FDCWD, path, 0);
    if (!code && name) record('U', name, 0, "", 0);
    UNLOCKED;
    return code;
}

int rename(const char *from, const char *to) {
    char room[PATH_MAX], room2[PATH_MAX];
    const char *name = record_fd < 0 ? NULL : name_at(AT_FDCWD, from, room);
    const char *name2 = record_fd < 0 ? NULL : name_at(AT_FDCWD, to, room2);
    LOCKED;
    int code = (int)syscall(SYS_renameat, AT_FDCWD, from, AT_FDCWD, to);
    if (!code && name && name2) record('R', name, 0, name2, strlen(name2));
    UNLOCKED;
    return code;
}
