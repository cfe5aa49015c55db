#include "machine/machine.h"

#include <algorithm>

namespace platter {

namespace machine {
#define MACHINE(name) extern const Machine name;
#include "machine/machines.def"
#undef MACHINE
}  // namespace machine

std::string_view boot_as_name(BootAs as) noexcept {
  return as == BootAs::disk ? "disk" : "optical";
}

std::string_view verdict_name(Verdict verdict) noexcept {
  switch (verdict) {
    case Verdict::none: return "none";
    case Verdict::incomplete: return "incomplete";
    case Verdict::ready: return "ready";
  }
  return "";
}

std::span<const Machine* const> all_machines() noexcept {
  static const std::vector<const Machine*> kMachines{
#define MACHINE(name) &machine::name,
#include "machine/machines.def"
#undef MACHINE
  };
  return kMachines;
}

const Machine* find_machine(std::string_view id) noexcept {
  const auto machines = all_machines();
  const auto found = std::ranges::find(machines, id, &Machine::id);
  return found == machines.end() ? nullptr : *found;
}

std::vector<BootVerdict> judge_boot(const BootSubject& subject) {
  std::vector<BootVerdict> rows;
  for (const Machine* machine : all_machines()) {
    for (const BootAs as : {BootAs::disk, BootAs::optical}) rows.push_back(machine->judge(subject, as));
  }
  return rows;
}

}  // namespace platter
