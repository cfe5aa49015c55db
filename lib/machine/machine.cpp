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
    case Verdict::none:
      return "none";
    case Verdict::incomplete:
      return "incomplete";
    case Verdict::ready:
      return "ready";
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

namespace {

// A block that cannot be read keeps one machine from being judged, not the others.
BootVerdict judge_one(const Machine& machine, const BootSubject& subject, BootAs as) {
  try {
    return machine.judge(subject, as);
  } catch (const IoError& error) {
    BootVerdict row{.machine = machine.id, .as = as, .verdict = Verdict::none, .evidence = {}};
    row.evidence.push_back({.check = "readable",
                            .sentence = "what the firmware reads can be read",
                            .source = "common practice, no source",
                            .start = error.offset(),
                            .bytes = error.bytes(),
                            .detail = error.reason(),
                            .remedy = "clean the medium or try another drive"});
    return row;
  }
}

}  // namespace

std::vector<BootVerdict> judge_boot(const BootSubject& subject) {
  std::vector<BootVerdict> rows;
  for (const Machine* machine : all_machines()) {
    for (const BootAs as : {BootAs::disk, BootAs::optical})
      rows.push_back(judge_one(*machine, subject, as));
  }
  return rows;
}

}  // namespace platter
