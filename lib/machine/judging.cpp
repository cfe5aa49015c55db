#include "machine/judging.h"

#include <utility>

namespace platter::machine {

Judging::Judging(std::string_view machine, BootAs as) {
  result_.machine = machine;
  result_.as = as;
}

bool Judging::add(const Condition& condition, bool holds, std::uint64_t start, std::uint64_t bytes,
                  std::string detail, std::string remedy) {
  any_demanded_ = any_demanded_ || condition.demanded;
  any_missing_ = any_missing_ || (condition.demanded && !holds);
  any_specific_ = any_specific_ || (condition.specific && holds);
  result_.evidence.push_back({.check = condition.id,
                              .sentence = condition.sentence,
                              .source = condition.source,
                              .demanded = condition.demanded,
                              .holds = holds,
                              .start = start,
                              .bytes = bytes,
                              .detail = std::move(detail),
                              .remedy = holds ? std::string() : std::move(remedy)});
  return holds;
}

BootVerdict Judging::verdict() && {
  if (any_demanded_ && !any_missing_) {
    result_.verdict = Verdict::ready;
  } else if (any_specific_ && !ruled_out_) {
    result_.verdict = Verdict::incomplete;
  }
  return std::move(result_);
}

}  // namespace platter::machine
