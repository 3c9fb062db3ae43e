/* Preloaded into the program under test: makes one call on a record fail.
 *
 * SLOTWISE_FAULT is CALL:N:ERRNO[:HALF]: the Nth write, or fdatasync or fsync ("sync"), on a record's file fails with that
 * number; with HALF a write takes half of its bytes and says so. Every later one of its kind fails as well. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/types.h>
#include <unistd.h>

static int is_record(int fd) {
  char link[64], path[4096];
  snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
  ssize_t length = readlink(link, path, sizeof path - 1);
  if (length < 0) return 0;
  path[length] = 0;
  return strstr(path, ".jsonl") != NULL || strstr(path, ".new-") != NULL;
}

/* 0: goes through; 1: fails; 2: takes half. */
static int fault(const char *call, int fd, int *number) {
  static int counted[2];
  const char *due = getenv("SLOTWISE_FAULT");
  char name[16] = "", half[8] = "";
  int n = 0;
  if (due == NULL || !is_record(fd)) return 0;
  sscanf(due, "%15[a-z]:%d:%d:%7s", name, &n, number, half);
  int *count = &counted[call[0] == 'w'];
  if (strcmp(name, call) != 0 || ++*count < n) return 0;
  return half[0] && *count == n ? 2 : 1;
}

ssize_t write(int fd, const void *bytes, size_t length) {
  ssize_t (*real)(int, const void *, size_t) = dlsym(RTLD_NEXT, "write");
  int number = 0;
  switch (fault("write", fd, &number)) {
    case 1: errno = number; return -1;
    case 2: return real(fd, bytes, length / 2);
    default: return real(fd, bytes, length);
  }
}

static int sync_or_fail(const char *name, int fd) {
  int (*real)(int) = dlsym(RTLD_NEXT, name);
  int number = 0;
  if (fault("sync", fd, &number) == 0) return real(fd);
  errno = number;
  return -1;
}

int fsync(int fd) { return sync_or_fail("fsync", fd); }
int fdatasync(int fd) { return sync_or_fail("fdatasync", fd); }
