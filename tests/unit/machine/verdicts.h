// Verdicts asked machine by machine, without the survey around them.
#pragma once

#include <algorithm>
#include <cstddef>
#include <functional>
#include <string>
#include <string_view>
#include <vector>

#include <catch2/catch.hpp>

#include "core/record.h"
#include "machine/machine.h"
#include "support/survey.h"

namespace platter::test {

using Bytes = std::vector<std::byte>;

inline BootVerdict verdict_of(std::string_view machine, const Bytes& image,
                              BootAs as = BootAs::disk) {
  const std::vector<Layer> layers;
  return find_machine(machine)->judge({layers, view_of(image)}, as);
}

/// The evidence of that condition, or nullptr.
inline const Evidence* evidence_of(const BootVerdict& verdict, std::string_view check) {
  const auto found = std::ranges::find(verdict.evidence, check, &Evidence::check);
  return found == verdict.evidence.end() ? nullptr : &*found;
}

inline constexpr std::string_view kWorkstations[] = {"sparc",    "sparc64", "m68k-sun", "mips-sgi",
                                                     "mips-dec", "alpha",   "vax",      "hppa",
                                                     "m68k-dlv", "m68k-lif"};

/// One way to spoil a good image.
struct Spoil {
  std::string_view what;
  std::function<void(Bytes&)> spoil;
  std::string_view missing;  ///< demanded conditions that no longer hold
};

/// Demands `ready` of the good image, and of each spoiled one `incomplete` with exactly the
/// conditions that it names.
inline void check_machine(std::string_view machine, const Bytes& good,
                          const std::vector<Spoil>& spoils, BootAs as = BootAs::disk) {
  const BootVerdict ready = verdict_of(machine, good, as);
  CAPTURE(machine, missing_from(ready));
  CHECK(ready.verdict == Verdict::ready);
  for (const Spoil& one : spoils) {
    Bytes image = good;
    one.spoil(image);
    const BootVerdict verdict = verdict_of(machine, image, as);
    CAPTURE(one.what);
    CHECK(verdict_name(verdict.verdict) == "incomplete");
    CHECK(missing_from(verdict) == one.missing);
    for (const Evidence& evidence : verdict.evidence) {
      CHECK((evidence.holds || !evidence.remedy.empty()));
      CHECK_FALSE(evidence.sentence.empty());
      CHECK_FALSE(evidence.source.empty());
    }
  }
}

/// Sets one field of a structure at `at`.
template <const Structure& S, FieldName N>
void poke(Bytes& image, std::size_t at, std::uint64_t value, ByteOrder order) {
  FieldWriter<S>(image.data() + at, order).template set<N>(value);
}

inline void clear(Bytes& image, std::size_t at, std::size_t bytes) {
  std::fill_n(image.begin() + static_cast<std::ptrdiff_t>(at), bytes, std::byte{0});
}

}  // namespace platter::test
