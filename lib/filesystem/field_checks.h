// Findings about fields of a record that contradict other fields.
#pragma once

#include <string>
#include <string_view>

#include <fmt/format.h>

#include "core/claim.h"

namespace platter::filesystem {

/// Adds a fault to a claim for every field that cannot be right.
template <const Structure& S>
class FieldChecks {
 public:
  FieldChecks(const Record<S>& record, Claim& claim) : record_(record), claim_(claim) {}

  /// \param relation words in front of the expected value, e.g. "at most"; may be empty
  template <FieldName N>
  void check(bool holds, std::string_view relation, std::uint64_t value) {
    if (holds) return;
    claim_.find(
        Severity::fault, FindingCode::filesystem_damaged, record_.template place_of<N>(),
        S.find(N.view())->bytes(),
        fmt::format("{} of the {} is {}, expected {}{}{}", N.view(), S.name,
                    record_.template get<N>(), relation, relation.empty() ? "" : " ", value));
  }

 private:
  const Record<S>& record_;
  Claim& claim_;
};

/// A claim with its findings settles how sure it is: none `sane`, a handful `magic`, more: no
/// claim.
[[nodiscard]] inline std::vector<Claim> settled(Claim claim) {
  constexpr std::size_t kHandful = 2;
  if (claim.findings.size() > kHandful) return {};
  claim.strength = claim.findings.empty() ? Strength::sane : Strength::magic;
  std::vector<Claim> result;
  result.push_back(std::move(claim));
  return result;
}

/// Sets a moment unless it is 0, which stands for "never".
inline void add_unix_time(Facts& facts, std::string_view name, std::uint64_t seconds) {
  if (seconds != 0) facts.set(name, Timestamp{static_cast<std::int64_t>(seconds)});
}

}  // namespace platter::filesystem
