/* The power goes on one mounted file system: it stops at once, nothing that is still in memory reaches the disk.
 *
 * The request is FS_IOC_SHUTDOWN of Linux' fs/ext4 and fs/xfs (there EXT4_IOC_SHUTDOWN and XFS_IOC_GOINGDOWN, the same
 * number); 2 is "without flushing the log". */
#include <fcntl.h>
#include <stdint.h>
#include <stdio.h>
#include <sys/ioctl.h>

int main(int count, char **arguments) {
  uint32_t how = 2;
  int fd = count == 2 ? open(arguments[1], O_RDONLY | O_DIRECTORY) : -1;
  if (fd < 0 || ioctl(fd, _IOR('X', 125, uint32_t), &how) != 0) {
    perror("cut");
    return 1;
  }
  return 0;
}
