#include "kernel/guest.h"

#include <algorithm>
#include <array>
#include <filesystem>
#include <fstream>
#include <sstream>
#include <stdexcept>

#include <fmt/format.h>

#include "boot/emulator.h"
#include "kernel/initramfs.h"
#include "support/survey.h"

namespace platter::test {
namespace {

constexpr std::chrono::seconds kGuestLimit{300};
constexpr int kWarning = 4;  // Linux include/linux/kern_levels.h

// For the disks, the answer, and the filesystems that are asked about; what is built in is left
// out.
const std::vector<std::string>& wanted_modules() {
  static const std::vector<std::string> kNames = {
      "virtio_pci",    "virtio_blk", "virtio_console", "ufs",
      "efs",           "sysv",       "minix",          "bfs",
      "hfs",           "hfsplus",    "isofs",          "fat",
      "vfat",          "ext4",       "nls_cp437",      "nls_utf8",
      "nls_iso8859-1", "nls_ascii",  "crc32c_generic", "xfs"};
  return kNames;
}

// What a kernel says when its machine is slow.
bool is_about_the_machine(const std::string& said) {
  constexpr std::array<std::string_view, 7> kBeginnings = {
      "hrtimer:", "watchdog:", "clocksource:", "rcu:", "sched:", "perf:", "workqueue:"};
  return std::ranges::any_of(kBeginnings,
                             [&](std::string_view with) { return said.starts_with(with); });
}

std::string from_hex(const std::string& digits) {
  std::string text;
  if (digits == "-") return text;
  for (std::size_t i = 0; i + 1 < digits.size(); i += 2) {
    text += static_cast<char>(std::stoi(digits.substr(i, 2), nullptr, 16));
  }
  return text;
}

std::string type_word(char letter) {
  static const std::map<char, std::string> kWords = {
      {'-', "file"},         {'d', "directory"}, {'l', "symlink"}, {'c', "char-device"},
      {'b', "block-device"}, {'p', "fifo"},      {'s', "socket"}};
  const auto found = kWords.find(letter);
  return found == kWords.end() ? "unknown" : found->second;
}

void take_file(std::istringstream& words, GuestAnswer& answer) {
  char type = 0;
  std::uint32_t mode = 0;
  std::uint32_t uid = 0;
  std::uint32_t gid = 0;
  std::uint32_t links = 0;
  TreeFile file;
  std::int64_t modified = 0;
  DeviceNumber device;
  std::string sum;
  std::string path;
  std::string target;
  words >> type >> std::oct >> mode >> std::dec >> uid >> gid >> links >> file.bytes >> modified >>
      device.major >> device.minor >> sum >> path >> target;
  file.type = type_word(type);
  file.mode = mode;
  file.uid = uid;
  file.gid = gid;
  file.modified = modified;
  if (type == 'd') {
    file.bytes = 0;
  } else {
    file.links = links;
  }
  if (type == 'l') file.target = from_hex(target);
  if (type == '-') file.sha256 = sum;
  if (type == 'c' || type == 'b') answer.devices[from_hex(path)] = device;
  answer.tree[from_hex(path)] = file;
}

GuestAnswers read_answers(const std::string& text) {
  GuestAnswers all;
  std::map<std::string, GuestAnswer>& answers = all.by_name;
  GuestAnswer* current = nullptr;
  std::istringstream lines(text);
  for (std::string line; std::getline(lines, line);) {
    std::istringstream words(line);
    std::string what;
    words >> what;
    if (what == "begin" || what == "end") {
      std::string name;
      words >> name;
      current = &answers[name];
      if (what == "end") current->answered = true;
    } else if (what == "kernel") {
      all.kernel = line.substr(what.size() + 1);
    } else if (current == nullptr) {
      continue;
    } else if (what == "slice") {
      GuestSlice slice;
      words >> slice.number >> slice.first >> slice.blocks;
      current->slices.push_back(slice);
    } else if (what == "file") {
      take_file(words, *current);
    } else if (what == "problem") {
      current->problems.push_back(line.substr(what.size() + 1));
    } else if (what == "said") {
      int level = 0;
      words >> level >> std::ws;
      std::string said;
      std::getline(words, said);
      if (level <= kWarning && !is_about_the_machine(said) &&
          std::ranges::count(current->warnings, said) == 0) {
        current->warnings.push_back(said);
      }
    }
  }
  for (auto& [name, answer] : answers)
    std::ranges::sort(answer.slices);
  return all;
}

std::string job_lines(const std::vector<GuestJob>& jobs) {
  std::string lines;
  for (const GuestJob& job : jobs) {
    lines += job.type.empty() ? fmt::format("table {} {} 0\n", job.name, job.disk_name())
                              : fmt::format("tree {} {} {} {} {}\n", job.name, job.disk_name(),
                                            job.partition, job.type, job.options);
  }
  return lines;
}

Emulator machine_for(const std::vector<GuestJob>& jobs, const TemporaryDirectory& scratch,
                     const std::string& answer) {
  const std::string kernel = std::string(PLATTER_KERNEL) + "/vmlinuz";
  Emulator emulator;
  // No hardware virtualization, even where there is a device for it: inside another virtual machine
  // it may hang.
  emulator.command = {"qemu-system-x86_64",
                      "-nodefaults",
                      "-M",
                      "pc",
                      "-accel",
                      "tcg",
                      "-m",
                      "512",
                      "-nic",
                      "none",
                      "-display",
                      "none",
                      "-no-reboot",
                      "-kernel",
                      kernel,
                      "-initrd",
                      scratch.file("initramfs"),
                      "-append",
                      "console=ttyS0 quiet panic=-1 mitigations=off no_timer_check",
                      "-serial",
                      "file:LOG",
                      "-device",
                      "virtio-serial-pci,addr=3",
                      "-chardev",
                      "file,id=answer,path=" + answer,
                      "-device",
                      "virtserialport,chardev=answer"};
  // Eight disks share a slot of the bus, which has 32.
  constexpr unsigned kFirstSlot = 4;
  constexpr unsigned kFunctions = 8;
  unsigned disk = kFirstSlot * kFunctions;
  for (const GuestJob& job : jobs) {
    if (job.image.empty()) continue;
    const std::string& name = job.disk_name();
    const std::string image = scratch.file(name);
    write_file(image, job.image);
    for (const std::string& word :
         {std::string("-drive"),
          fmt::format("if=none,id={},format=raw,readonly=on,file={}", name, image),
          std::string("-device"),
          fmt::format("virtio-blk-pci,drive={0},serial={0},addr={1}.{2},multifunction=on", name,
                      disk / kFunctions, disk % kFunctions)}) {
      emulator.command.push_back(word);
    }
    ++disk;
  }
  return emulator;
}

}  // namespace

GuestAnswers ask_kernel(const std::vector<GuestJob>& jobs) {
  const std::string modules = std::string(PLATTER_KERNEL) + "/modules";
  if (!std::filesystem::is_directory(modules)) {
    throw std::runtime_error("no kernel; run: sh tests/kernel/fetch " PLATTER_KERNEL);
  }
  const TemporaryDirectory scratch;
  std::ofstream(scratch.file("initramfs"), std::ios::binary)
      << initramfs(PLATTER_GUEST_INIT, modules_for(modules, wanted_modules()), job_lines(jobs));
  const std::string answer = scratch.file("answer");
  // The guest switches its machine off, which ends the emulator.
  const Run run = run_emulator(machine_for(jobs, scratch, answer), "", "\n(no such line)\n",
                               scratch.path(), kGuestLimit);
  const std::vector<std::byte> bytes = read_file(answer);
  const std::string text(reinterpret_cast<const char*>(bytes.data()), bytes.size());
  if (text.find("\ndone\n") == std::string::npos) {
    throw std::runtime_error("the kernel did not come to its end: " + run.console + text);
  }
  return read_answers(text);
}

}  // namespace platter::test
