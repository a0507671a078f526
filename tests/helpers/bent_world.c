/* A world that behaves badly, laid between a process and its C library with LD_PRELOAD.

   The file that BENT_WORLD names holds three numbers of eight bytes, and may be changed at any
   time: by how much the clock on the wall is wrong [ms], how long a sync takes on top [ms], and the
   error that writing to a file gives (0: none). Clocks that count from the start stay right, as they
   do where a person sets the clock. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <stdint.h>
#include <stdlib.h>
#include <sys/mman.h>
#include <sys/time.h>
#include <time.h>
#include <unistd.h>

struct world {
    int64_t clock_ms, sync_ms, write_error;
};

static volatile struct world *bent;

__attribute__((constructor)) static void begin(void) {
    int file = open(getenv("BENT_WORLD"), O_RDONLY);
    void *there = mmap(NULL, sizeof(struct world), PROT_READ, MAP_SHARED, file, 0);
    bent = there == MAP_FAILED ? NULL : there;
    close(file);
}

static void *next(const char *name) { return dlsym(RTLD_NEXT, name); }

int clock_gettime(clockid_t clock, struct timespec *at) {
    static int (*real)(clockid_t, struct timespec *);
    if (!real) real = next("clock_gettime");
    int status = real(clock, at);
    if (bent && (clock == CLOCK_REALTIME || clock == CLOCK_REALTIME_COARSE)) {
        int64_t ns = at->tv_nsec + bent->clock_ms % 1000 * 1000000;
        at->tv_sec += bent->clock_ms / 1000 + ns / 1000000000;
        at->tv_nsec = ns % 1000000000;
        if (at->tv_nsec < 0) {
            at->tv_nsec += 1000000000;
            at->tv_sec -= 1;
        }
    }
    return status;
}

time_t time(time_t *to) {
    struct timespec at;
    clock_gettime(CLOCK_REALTIME, &at);
    if (to) *to = at.tv_sec;
    return at.tv_sec;
}

int gettimeofday(struct timeval *restrict to, void *restrict zone) {
    (void)zone;
    struct timespec at;
    clock_gettime(CLOCK_REALTIME, &at);
    to->tv_sec = at.tv_sec;
    to->tv_usec = at.tv_nsec / 1000;
    return 0;
}

static void wait_for_disk(void) {
    if (bent && bent->sync_ms) {
        struct timespec pause = {bent->sync_ms / 1000, bent->sync_ms % 1000 * 1000000};
        nanosleep(&pause, NULL);
    }
}

int fsync(int file) {
    static int (*real)(int);
    if (!real) real = next("fsync");
    wait_for_disk();
    return real(file);
}

int fdatasync(int file) {
    static int (*real)(int);
    if (!real) real = next("fdatasync");
    wait_for_disk();
    return real(file);
}

ssize_t pwrite64(int file, const void *from, size_t length, off64_t at) {
    static ssize_t (*real)(int, const void *, size_t, off64_t);
    if (!real) real = next("pwrite64");
    if (bent && bent->write_error) {
        errno = (int)bent->write_error;
        return -1;
    }
    return real(file, from, length, at);
}

ssize_t pwrite(int file, const void *from, size_t length, off_t at) {
    return pwrite64(file, from, length, at);
}
