// The only program of the witness kernel: loads the modules, answers the jobs, switches off.
//
// It is linked statically and uses nothing of platter, so that what it tells comes from the
// kernel's drivers alone. Jobs stand in /jobs, one a line; images are told apart by the serial
// number of their disk. Answers go to the virtio port, where kernel messages cannot cut them:
//
//   table SERIAL              ->  slice NUMBER FIRST BLOCKS           512-byte blocks
//   tree SERIAL TYPE OPTIONS  ->  file TYPE MODE UID GID LINKS BYTES MTIME SUM PATH TARGET
//                                 problem WORDS
//   each ends with            ->  end SERIAL
//
// PATH and TARGET are in hex, "-" when empty. TYPE is the letter that ls shows.
#include <dirent.h>
#include <fcntl.h>
#include <sys/mount.h>
#include <sys/reboot.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <bit>
#include <cerrno>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <string>
#include <vector>

namespace {

constexpr unsigned kSecondsForOneJob = 40;

FILE* answer = nullptr;

// ---- SHA-256, FIPS 180-4 clauses 4.1.2, 5.1.1, 5.3.3 and 6.2

constexpr std::array<std::uint32_t, 64> kRound = {
    0x428a2f98, 0x71374491, 0xb5c0fbcf, 0xe9b5dba5, 0x3956c25b, 0x59f111f1, 0x923f82a4, 0xab1c5ed5,
    0xd807aa98, 0x12835b01, 0x243185be, 0x550c7dc3, 0x72be5d74, 0x80deb1fe, 0x9bdc06a7, 0xc19bf174,
    0xe49b69c1, 0xefbe4786, 0x0fc19dc6, 0x240ca1cc, 0x2de92c6f, 0x4a7484aa, 0x5cb0a9dc, 0x76f988da,
    0x983e5152, 0xa831c66d, 0xb00327c8, 0xbf597fc7, 0xc6e00bf3, 0xd5a79147, 0x06ca6351, 0x14292967,
    0x27b70a85, 0x2e1b2138, 0x4d2c6dfc, 0x53380d13, 0x650a7354, 0x766a0abb, 0x81c2c92e, 0x92722c85,
    0xa2bfe8a1, 0xa81a664b, 0xc24b8b70, 0xc76c51a3, 0xd192e819, 0xd6990624, 0xf40e3585, 0x106aa070,
    0x19a4c116, 0x1e376c08, 0x2748774c, 0x34b0bcb5, 0x391c0cb3, 0x4ed8aa4a, 0x5b9cca4f, 0x682e6ff3,
    0x748f82ee, 0x78a5636f, 0x84c87814, 0x8cc70208, 0x90befffa, 0xa4506ceb, 0xbef9a3f7, 0xc67178f2};

class Sha256 {
 public:
  void add(const unsigned char* data, std::size_t bytes) {
    total_ += bytes;
    for (std::size_t i = 0; i < bytes; ++i) {
      block_[used_++] = data[i];
      if (used_ == block_.size()) take_block();
    }
  }
  std::string hex() {
    const std::uint64_t bits = total_ * 8;
    block_[used_++] = 0x80;
    if (used_ > 56) {
      std::fill(block_.begin() + static_cast<std::ptrdiff_t>(used_), block_.end(), 0);
      take_block();
    }
    std::fill(block_.begin() + static_cast<std::ptrdiff_t>(used_), block_.end(), 0);
    for (unsigned i = 0; i < 8; ++i) {
      block_[63 - i] = static_cast<unsigned char>(bits >> (8 * i));
    }
    take_block();
    std::string text;
    for (const std::uint32_t word : state_) {
      std::array<char, 9> digits{};
      std::snprintf(digits.data(), digits.size(), "%08x", word);
      text += digits.data();
    }
    return text;
  }

 private:
  void take_block() {
    std::array<std::uint32_t, 64> w{};
    for (std::size_t i = 0; i < 64; ++i) {
      if (i < 16) {
        for (std::size_t k = 0; k < 4; ++k)
          w[i] = w[i] << 8 | block_[4 * i + k];
        continue;
      }
      const std::uint32_t a = w[i - 15];
      const std::uint32_t b = w[i - 2];
      w[i] = w[i - 16] + w[i - 7] + (std::rotr(a, 7) ^ std::rotr(a, 18) ^ a >> 3) +
             (std::rotr(b, 17) ^ std::rotr(b, 19) ^ b >> 10);
    }
    auto [a, b, c, d, e, f, g, h] = state_;
    for (std::size_t i = 0; i < 64; ++i) {
      const std::uint32_t t1 = h + (std::rotr(e, 6) ^ std::rotr(e, 11) ^ std::rotr(e, 25)) +
                               ((e & f) ^ (~e & g)) + kRound[i] + w[i];
      const std::uint32_t t2 =
          (std::rotr(a, 2) ^ std::rotr(a, 13) ^ std::rotr(a, 22)) + ((a & b) ^ (a & c) ^ (b & c));
      h = g, g = f, f = e, e = d + t1, d = c, c = b, b = a, a = t1 + t2;
    }
    const std::array<std::uint32_t, 8> next = {a, b, c, d, e, f, g, h};
    for (std::size_t i = 0; i < 8; ++i)
      state_[i] += next[i];
    used_ = 0;
  }

  std::array<std::uint32_t, 8> state_ = {0x6a09e667, 0xbb67ae85, 0x3c6ef372, 0xa54ff53a,
                                         0x510e527f, 0x9b05688c, 0x1f83d9ab, 0x5be0cd19};
  std::array<unsigned char, 64> block_{};
  std::size_t used_ = 0;
  std::uint64_t total_ = 0;
};

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
  Sha256 sum;
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
  std::fprintf(answer, "file %c %o %u %u %llu %llu %lld %s %s %s\n", letter_of(about.st_mode),
               about.st_mode & 07777U, about.st_uid, about.st_gid,
               static_cast<unsigned long long>(about.st_nlink),
               static_cast<unsigned long long>(about.st_size),
               static_cast<long long>(about.st_mtime), sum.c_str(), hex(shown).c_str(),
               hex(target).c_str());
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

void table(const std::string& disk) {
  const std::string place = "/sys/block/" + disk;
  for (const std::string& slice : names_in(place, disk)) {
    const std::string here = place + "/" + slice + "/";
    std::fprintf(answer, "slice %s %s %s\n", line_of(here + "partition").c_str(),
                 line_of(here + "start").c_str(), line_of(here + "size").c_str());
  }
}

void tree(const std::string& disk, const char* type, const char* options) {
  const std::string device = "/dev/" + disk;
  if (mount(device.c_str(), "/mnt", type, MS_RDONLY, options) != 0) {
    return problem(std::string("mount ") + type + " " + options);
  }
  walk("/mnt", "");
  umount2("/mnt", MNT_DETACH);
}

// In a process of its own: a driver that hangs or dies takes one answer with it, not all.
void job(const char* line) {
  std::array<char, 16> what{};
  std::array<char, 32> serial{};
  std::array<char, 32> type{};
  std::array<char, 128> options{};
  const int words = std::sscanf(line, "%15s %31s %31s %127s", what.data(), serial.data(),
                                type.data(), options.data());
  if (words < 2) return;
  std::fprintf(answer, "begin %s\n", serial.data());
  std::fflush(answer);
  const pid_t child = fork();
  if (child == 0) {
    alarm(kSecondsForOneJob);
    const std::string disk = disk_with(serial.data());
    if (disk.empty()) {
      std::fprintf(answer, "problem no disk with that serial number\n");
    } else if (std::strcmp(what.data(), "table") == 0) {
      table(disk);
    } else {
      tree(disk, type.data(), options.data());
    }
    std::fflush(answer);
    _exit(0);
  }
  int status = 0;
  waitpid(child, &status, 0);
  if (!WIFEXITED(status)) std::fprintf(answer, "problem ended by signal %d\n", WTERMSIG(status));
  std::fprintf(answer, "end %s\n", serial.data());
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
