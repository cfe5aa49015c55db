// The program, and the demo images that its tests look at.
#pragma once

#include <sstream>
#include <string>

#include <catch2/catch.hpp>

#include "support/survey.h"

namespace platter::test {

inline RunResult platter(const std::string& arguments) {
  return run(std::string(PLATTER_PROGRAM) + " " + arguments);
}

/// Words without their line breaks.
inline std::string flowing(const std::string& text) {
  std::istringstream words(text);
  std::string result;
  for (std::string word; words >> word;)
    result += (result.empty() ? "" : " ") + word;
  return result;
}

/// The demo images: a good install disc, the same cut short, a labelled system disk.
class Demo {
 public:
  Demo() { status = run(std::string(PLATTER_DEMO_PROGRAM) + " " + scratch_.path()).status; }
  [[nodiscard]] std::string file(const std::string& name) const { return scratch_.file(name); }
  int status = -1;

 private:
  TemporaryDirectory scratch_;
};

inline const Demo& demo() {
  static const Demo made;
  REQUIRE(made.status == 0);
  return made;
}

inline std::string disc() {
  return demo().file("corvidos-install.iso");
}
inline std::string cut_disc() {
  return demo().file("corvidos-install-cut.iso");
}
inline std::string disk() {
  return demo().file("corvid340-system.img");
}

}  // namespace platter::test
