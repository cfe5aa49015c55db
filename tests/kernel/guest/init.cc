// The only program of the witness kernel: loads the modules, answers the jobs, switches off.
//
// It is linked statically and uses nothing of platter, so that what it tells comes from the
// kernel's drivers alone. Jobs stand in /jobs, one a line; images are told apart by the serial
// number of their disk. Answers go to the virtio port, where kernel messages cannot cut them:
//
//   table NAME SERIAL 0                    ->  slice NUMBER FIRST BLOCKS           512-byte blocks
//   tree NAME SERIAL NUMBER TYPE OPTIONS   ->  file TYPE MODE UID GID LINKS BYTES MTIME MAJOR MINOR
//                                                   SUM PATH TARGET
//                                              problem WORDS
//                                              said LEVEL WORDS   a kernel message, meanwhile
//   each ends with                         ->  took MILLISECONDS
//                                              end NAME
//
// NUMBER is the partition's, 0 for the whole disk.
// The first answer is "kernel RELEASE VERSION". PATH and TARGET are in hex, "-" when empty. TYPE is
// the letter that ls shows.
#include <dirent.h>
#include <fcntl.h>
#include <sys/mount.h>
#include <sys/reboot.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <sys/sysmacros.h>
#include <sys/utsname.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <chrono>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <string>
#include <vector>

#include "sha256.h"

namespace {

constexpr unsigned kSecondsForOneJob = 40;

FILE* answer = nullptr;

// ---- Answers

std::string hex(const std::string& text) {
  if (text.empty()) return "-";
  std::string digits;
  for (const char c : text) {
    std::array<char, 3> two{};
    std::snprintf(two.data(), two.size(), "%02x",
                  static_cast<unsigned>(static_cast<unsigned char>(c)));
    digits += two.data();
  }
  return digits;
}

void problem(const std::string& what) {
  std::fprintf(answer, "problem %s: %s\n", what.c_str(), std::strerror(errno));
}

std::string sum_of(const std::string& path) {
  const int file = open(path.c_str(), O_RDONLY);
  if (file < 0) {
    problem("open " + hex(path));
    return "-";
  }
  guest::Sha256 sum;
  std::vector<unsigned char> piece(65536);
  ssize_t n = 0;
  while ((n = read(file, piece.data(), piece.size())) > 0) {
    sum.add(piece.data(), static_cast<std::size_t>(n));
  }
  if (n < 0) problem("read " + hex(path));
  close(file);
  return sum.hex();
}

char letter_of(mode_t mode) {
  switch (mode & S_IFMT) {
    case S_IFREG:
      return '-';
    case S_IFDIR:
      return 'd';
    case S_IFLNK:
      return 'l';
    case S_IFCHR:
      return 'c';
    case S_IFBLK:
      return 'b';
    case S_IFIFO:
      return 'p';
    case S_IFSOCK:
      return 's';
    default:
      return '?';
  }
}

void tell(const std::string& path, const std::string& shown) {
  struct stat about = {};
  if (lstat(path.c_str(), &about) != 0) return problem("stat " + hex(path));
  std::string target;
  std::string sum = "-";
  if (S_ISREG(about.st_mode)) sum = sum_of(path);
  if (S_ISLNK(about.st_mode)) {
    std::array<char, 4096> text{};
    const ssize_t n = readlink(path.c_str(), text.data(), text.size());
    if (n < 0) return problem("readlink " + hex(path));
    target.assign(text.data(), static_cast<std::size_t>(n));
  }
  std::fprintf(answer, "file %c %o %u %u %llu %llu %lld %u %u %s %s %s\n", letter_of(about.st_mode),
               about.st_mode & 07777U, about.st_uid, about.st_gid,
               static_cast<unsigned long long>(about.st_nlink),
               static_cast<unsigned long long>(about.st_size),
               static_cast<long long>(about.st_mtime), major(about.st_rdev), minor(about.st_rdev),
               sum.c_str(), hex(shown).c_str(), hex(target).c_str());
}

void walk(const std::string& path, const std::string& shown) {
  DIR* directory = opendir(path.c_str());
  if (directory == nullptr) return problem("opendir " + hex(path));
  std::vector<std::string> below;
  errno = 0;
  while (const dirent* entry = readdir(directory)) {
    const std::string name = entry->d_name;
    if (name == "." || name == "..") continue;
    const std::string there = path + "/" + name;
    const std::string told = shown.empty() ? name : shown + "/" + name;
    tell(there, told);
    struct stat about = {};
    if (lstat(there.c_str(), &about) == 0 && S_ISDIR(about.st_mode)) below.push_back(told);
    errno = 0;
  }
  if (errno != 0) problem("readdir " + hex(path));
  closedir(directory);
  for (const std::string& told : below) {
    const std::size_t from = shown.empty() ? 0 : shown.size() + 1;
    walk(path + "/" + told.substr(from), told);
  }
}

// ---- Jobs

std::string line_of(const std::string& path) {
  std::string text(256, '\0');
  const int file = open(path.c_str(), O_RDONLY);
  if (file < 0) return {};
  const ssize_t n = read(file, text.data(), text.size());
  close(file);
  text.resize(n > 0 ? static_cast<std::size_t>(n) : 0);
  while (!text.empty() && (text.back() == '\n' || text.back() == '\0'))
    text.pop_back();
  return text;
}

std::vector<std::string> names_in(const std::string& path, const std::string& prefix) {
  std::vector<std::string> names;
  if (DIR* directory = opendir(path.c_str())) {
    while (const dirent* entry = readdir(directory)) {
      if (std::strncmp(entry->d_name, prefix.c_str(), prefix.size()) == 0) {
        names.emplace_back(entry->d_name);
      }
    }
    closedir(directory);
  }
  std::sort(names.begin(), names.end());
  return names;
}

std::string disk_with(const std::string& serial) {
  for (const std::string& disk : names_in("/sys/block", "vd")) {
    if (line_of("/sys/block/" + disk + "/serial") == serial) return disk;
  }
  return {};
}

// Linux Documentation/ABI/testing/dev-kmsg: a record is "level,number,time,flags;words", one a
// read.
class KernelMessages {
 public:
  KernelMessages() : file_(open("/dev/kmsg", O_RDONLY | O_NONBLOCK)) { lseek(file_, 0, SEEK_END); }
  KernelMessages(const KernelMessages&) = delete;
  KernelMessages& operator=(const KernelMessages&) = delete;
  ~KernelMessages() { close(file_); }
  /// Tells what came since the start.
  void tell() const {
    std::array<char, 8192> text{};
    ssize_t n = 0;
    while ((n = read(file_, text.data(), text.size())) > 0) {
      const std::string record(text.data(), static_cast<std::size_t>(n));
      const std::size_t from = record.find(';') + 1;
      const int level = std::atoi(record.c_str()) & 7;  // the other bits name the facility
      std::fprintf(answer, "said %d %s\n", level,
                   record.substr(from, record.find('\n') - from).c_str());
    }
  }

 private:
  int file_;
};

void table(const std::string& disk) {
  const std::string place = "/sys/block/" + disk;
  for (const std::string& slice : names_in(place, disk)) {
    const std::string here = place + "/" + slice + "/";
    std::fprintf(answer, "slice %s %s %s\n", line_of(here + "partition").c_str(),
                 line_of(here + "start").c_str(), line_of(here + "size").c_str());
  }
}

void tree(const std::string& disk, int number, const char* type, const char* options) {
  const std::string device = "/dev/" + disk + (number == 0 ? "" : std::to_string(number));
  if (mount(device.c_str(), "/mnt", type, MS_RDONLY, options) != 0) {
    return problem(std::string("mount ") + type + " " + options);
  }
  walk("/mnt", "");
  umount2("/mnt", MNT_DETACH);
}

// In a process of its own: a driver that hangs or dies takes one answer with it, not all.
void job(const char* line) {
  std::array<char, 16> what{};
  std::array<char, 32> name{};
  std::array<char, 32> serial{};
  std::array<char, 32> type{};
  std::array<char, 128> options{};
  int number = 0;
  const int words = std::sscanf(line, "%15s %31s %31s %d %31s %127s", what.data(), name.data(),
                                serial.data(), &number, type.data(), options.data());
  if (words < 4) return;
  std::fprintf(answer, "begin %s\n", name.data());
  std::fflush(answer);
  const KernelMessages messages;
  const auto start = std::chrono::steady_clock::now();
  const pid_t child = fork();
  if (child == 0) {
    alarm(kSecondsForOneJob);
    const std::string disk = disk_with(serial.data());
    if (disk.empty()) {
      std::fprintf(answer, "problem no disk with that serial number\n");
    } else if (std::strcmp(what.data(), "table") == 0) {
      table(disk);
    } else {
      tree(disk, number, type.data(), options.data());
    }
    std::fflush(answer);
    _exit(0);
  }
  int status = 0;
  waitpid(child, &status, 0);
  if (!WIFEXITED(status)) std::fprintf(answer, "problem ended by signal %d\n", WTERMSIG(status));
  messages.tell();
  const auto took = std::chrono::duration_cast<std::chrono::milliseconds>(
      std::chrono::steady_clock::now() - start);
  std::fprintf(answer, "took %lld\n", static_cast<long long>(took.count()));
  std::fprintf(answer, "end %s\n", name.data());
  std::fflush(answer);
}

void load_modules() {
  for (const std::string& name : names_in("/modules", "")) {
    if (name[0] == '.') continue;
    const int file = open(("/modules/" + name).c_str(), O_RDONLY);
    if (file < 0 || syscall(SYS_finit_module, file, "", 0) != 0) {
      std::printf("module %s: %s\n", name.c_str(), std::strerror(errno));
    }
    close(file);
  }
}

FILE* open_answer() {
  for (int i = 0; i < 100; ++i) {  // the port appears a moment after its driver
    for (const std::string& port : names_in("/dev", "vport")) {
      if (FILE* file = std::fopen(("/dev/" + port).c_str(), "w")) return file;
    }
    usleep(50000);
  }
  return nullptr;
}

}  // namespace

int main() {
  mount("none", "/proc", "proc", 0, nullptr);
  mount("none", "/sys", "sysfs", 0, nullptr);
  mount("none", "/dev", "devtmpfs", 0, nullptr);
  load_modules();
  answer = open_answer();
  if (answer != nullptr) {
    utsname about = {};
    uname(&about);
    std::fprintf(answer, "kernel %s %s\n", about.release, about.version);
    FILE* jobs = std::fopen("/jobs", "r");
    std::array<char, 512> line{};
    while (jobs != nullptr && std::fgets(line.data(), line.size(), jobs) != nullptr) {
      job(line.data());
    }
    std::fprintf(answer, "done\n");
    std::fclose(answer);
    usleep(200000);  // what was written is still on its way out of the port
  }
  sync();
  reboot(RB_POWER_OFF);
  return 1;
}
