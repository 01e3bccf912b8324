/* Calls of the system that fail when they are told to: whatever writes, syncs or moves files under one folder.
   Loaded before the C library (LD_PRELOAD); built by failing_calls.py. */

#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <limits.h>
#include <stdio.h>
#include <string.h>
#include <sys/uio.h>
#include <unistd.h>

static char folder[PATH_MAX];
static long calls, failing = -1;
static int error_number, for_good;

/* From now on count the calls under a folder; the n-th fails with an error, and those after it if it is for good. */
void fail_call(const char *under, long n, int error, int good)
{
    strncpy(folder, under, sizeof folder - 1);
    calls = 0;
    failing = n;
    error_number = error;
    for_good = good;
}

long calls_counted(void) { return calls; }

static int fails(void)
{
    long n = calls++;
    if (failing < 0 || n < failing || (n > failing && !for_good))
        return 0;
    errno = error_number;
    return 1;
}

static int is_under(const char *path) { return folder[0] && !strncmp(path, folder, strlen(folder)); }

static int leads_there(int file)
{
    char link[64], path[PATH_MAX];
    if (!folder[0])
        return 0;
    snprintf(link, sizeof link, "/proc/self/fd/%d", file);
    ssize_t length = readlink(link, path, sizeof path - 1);
    if (length < 0)
        return 0;
    path[length] = 0;
    return is_under(path);
}

#define REAL(type, name, ...) \
    static type (*real)(__VA_ARGS__); \
    if (!real) \
        real = (type(*)(__VA_ARGS__))dlsym(RTLD_NEXT, #name)
#define OF_FILE(type, name, file, wrong, given, ...) \
    type name(__VA_ARGS__) \
    { \
        REAL(type, name, __VA_ARGS__); \
        return leads_there(file) && fails() ? (wrong) : real given; \
    }

OF_FILE(ssize_t, write, file, -1, (file, data, size), int file, const void *data, size_t size)
OF_FILE(ssize_t, pwrite, file, -1, (file, data, size, at), int file, const void *data, size_t size, off_t at)
OF_FILE(ssize_t, pwrite64, file, -1, (file, data, size, at), int file, const void *data, size_t size, off64_t at)
OF_FILE(ssize_t, writev, file, -1, (file, parts, count), int file, const struct iovec *parts, int count)
OF_FILE(size_t, fwrite, fileno(file), 0, (data, size, count, file), const void *data, size_t size, size_t count, FILE *file)
OF_FILE(int, fflush, file ? fileno(file) : -1, EOF, (file), FILE *file)
OF_FILE(int, fsync, file, -1, (file), int file)
OF_FILE(int, fdatasync, file, -1, (file), int file)
OF_FILE(int, ftruncate, file, -1, (file, size), int file, off_t size)
OF_FILE(int, ftruncate64, file, -1, (file, size), int file, off64_t size)

int rename(const char *from, const char *to)
{
    REAL(int, rename, const char *, const char *);
    return is_under(to) && fails() ? -1 : real(from, to);
}
