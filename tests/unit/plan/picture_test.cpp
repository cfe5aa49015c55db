// The picture as text: well-formed by the rules of XML that matter here, escaped, and to scale.
#include "plan/picture.h"

#include <string>
#include <vector>

#include <catch2/catch.hpp>

namespace {

using namespace platter::plan;

Plan plan_of(const std::string& regions) {
  return resolve(read_plan("[card]\nsize = '8 GiB'\n" + regions).plan, {}).plan;
}

std::string region(const std::string& name, const std::string& device, const std::string& size) {
  return "[[region]]\nname = \"" + name + "\"\ndevice = '" + device + "'\nsize = '" + size + "'\n";
}

// Elements open and close in order, attributes are quoted, no bare & or <.
bool is_well_formed(const std::string& svg) {
  std::vector<std::string> open;
  for (std::size_t at = 0; at < svg.size(); ++at) {
    if (svg[at] == '&' && svg.find(';', at) == std::string::npos) return false;
    if (svg[at] != '<') continue;
    const std::size_t end = svg.find('>', at);
    if (end == std::string::npos) return false;
    const std::string tag = svg.substr(at + 1, end - at - 1);
    if (tag.find('<') != std::string::npos) return false;
    if (tag.front() == '/') {
      if (open.empty() || open.back() != tag.substr(1)) return false;
      open.pop_back();
    } else if (tag.front() != '?' && tag.back() != '/') {
      open.push_back(tag.substr(0, tag.find(' ')));
    }
    at = end;
  }
  return open.empty();
}

std::size_t count_of(const std::string& text, const std::string& part) {
  std::size_t count = 0;
  for (std::size_t at = 0; (at = text.find(part, at)) != std::string::npos; ++at)
    ++count;
  return count;
}

TEST_CASE("picture: one bar when everything can be seen on it") {
  const std::string svg =
      picture_svg(plan_of(region("a", "disk", "2 GiB") + region("b", "optical", "3 GiB")), "card");
  CHECK(is_well_formed(svg));
  CHECK(svg.find("not to scale") == std::string::npos);
  // A quarter of the card is a quarter of the bar: 912 wide in all.
  CHECK(svg.find("<rect x=\"24.00\" y=\"72.00\" width=\"228.00\"") != std::string::npos);
  CHECK(svg.find("<rect x=\"252.00\" y=\"72.00\" width=\"342.00\" height=\"56.00\" "
                 "fill=\"url(#optical)\"") != std::string::npos);
}

TEST_CASE("picture: a second bar when sizes differ by orders of magnitude") {
  const std::string svg = picture_svg(
      plan_of(region("tiny", "disk", "1 MiB") + region("big", "disk", "4 GiB")), "card");
  CHECK(is_well_formed(svg));
  CHECK(svg.find("not to scale: widths grow with the logarithm") != std::string::npos);
  // One share to 1 MiB, 1 + 12/2 to 4 GiB, which is 2^12 times as large; the gap is a little less.
  CHECK(count_of(svg, "<circle cx=") == 4);  // 3 drawn numbers and the pattern's dot
}

TEST_CASE("picture: text from outside is escaped") {
  const std::string svg = picture_svg(plan_of(region("<b>&'\\\"\\u0001\\uFFFE", "disk", "1 GiB")),
                                      "</title><script>\xff");
  CHECK(is_well_formed(svg));
  CHECK(svg.find("<script>") == std::string::npos);
  CHECK(svg.find("&lt;b&gt;&amp;&#39;&quot;\\x01?") != std::string::npos);
}

TEST_CASE("picture: black, white and patterns only, nothing from elsewhere") {
  const std::string svg =
      picture_svg(plan_of(region("a", "disk", "1 GiB") + region("b", "optical", "1 MiB")), "card");
  CHECK(count_of(svg, "#") == count_of(svg, "\"#000\"") + count_of(svg, "\"#fff\"") +
                                  count_of(svg, "url(#gap)") + count_of(svg, "url(#optical)"));
  CHECK(count_of(svg, "http") == 1);  // the namespace
  CHECK(svg.find("href") == std::string::npos);
}

TEST_CASE("picture: overlaps, regions past the card and a full card are drawn all the same") {
  CHECK(is_well_formed(picture_svg(plan_of(region("all", "disk", "8 GiB")), "t")));
  const std::string svg =
      picture_svg(plan_of(region("a", "disk", "1 GiB") +
                          "[[region]]\nname='b'\ndevice='disk'\nstart=0\nsize='16 GiB'\n"),
                  "t");
  CHECK(is_well_formed(svg));
  CHECK(svg.find("stroke-width=\"4\"") != std::string::npos);  // the end of the card
}

}  // namespace
